// The tempo ladder: start slow, a step up after each few clean times, stop at the goal. The student says what was clean.

const MOST_TICKS = 4000;                 // what a practice file may hold, with room

export class Ladder {
  /**
   * `fields` are the inputs {start, step, goal, times}, `say` tells where the student is, `tempo` gives and sets beats a
   * minute within its own bounds: {now, least, most, set}. `kept` holds ticks and the ladder of last time.
   */
  constructor(fields, tempo, kept, say) {
    Object.assign(this, { fields, tempo, kept, say, here: 0 });
    fields.goal.max = tempo.most;
    for (const [name, value] of Object.entries(kept.ladder ?? {})) if (fields[name] && Number.isFinite(value)) fields[name].value = value;
  }

  /** Steps as they stand in the fields, brought within bounds: {start, step, goal, times}. */
  get steps() {
    const of = (name, least, most) => {
      const input = this.fields[name], asked = input.value === "" ? NaN : Number(input.value);
      return Math.round(Math.min(most, Math.max(least, Number.isFinite(asked) ? asked : Number(input.defaultValue))));
    };
    const goal = of("goal", this.tempo.least, this.tempo.most);
    return { start: of("start", this.tempo.least, goal), step: of("step", 1, 60), goal, times: of("times", 1, 20) };
  }

  begin() {
    const steps = this.steps;
    for (const [name, value] of Object.entries(steps)) this.fields[name].value = value;
    this.kept.ladder = steps;
    this.kept.keep();
    this.here = 0;
    this.tempo.set(steps.start);
    this.say(`On the ladder: ${steps.start}, up to ${steps.goal}. Tick each clean time.`);
  }

  /** One clean time of the notes `first` to `last`, whose measures are [first, last]. */
  tick(first, last, measures) {
    const { step, goal, times } = this.steps, bpm = this.tempo.now;
    this.here += 1;
    this.kept.clean.push({ bpm, first, last, measures, at: new Date().toISOString().slice(0, 10) });
    this.kept.clean.splice(0, this.kept.clean.length - MOST_TICKS);
    this.kept.keep();
    if (this.here < times) { this.say(`${this.here} of ${times} clean at ${bpm}.`); return; }
    this.here = 0;
    if (bpm >= goal) { this.say(`The goal of ${goal} is reached. Rest a little.`); return; }
    this.tempo.set(Math.min(goal, bpm + step));
    this.say(`${times > 1 ? `${times} times clean` : "Clean"} at ${bpm}. Next: ${this.tempo.now}.`);
  }
}
