// The practice engine: a passage played, counted in, slowed, looped; notes, rhythm or nothing; beats and a drone.
// The local page and the take-home page play with it.

import { gainOf, voice, waveOf } from "./sound.js";

const EARLY_S = 1.0, WAKE_MS = 50, FIRST_S = 0.2, MOST_LATE_S = 0.05;
const DRONE_S = 0.02;      // how fast the drone goes over to another root
const CLICK_HZ = [1660, 1100], CLICK_S = 0.045;    // first beat of a measure, other beats

/** Beats of the measure in which a passage begins, for counting in: {step_s, count}. */
export function countInOf(beats, begin_s) {
  let first = 0;
  for (let k = 0; k < beats.length; k += 1) if (beats[k][0] <= begin_s + 1e-6) first = k;
  let start = first;
  while (start > 0 && !beats[start][1]) start -= 1;
  if (!beats[start][1]) start = Math.max(0, beats.findIndex((beat) => beat[1]));      // a pickup: count the next measure
  let end = start + 1;
  while (end < beats.length && !beats[end][1]) end += 1;
  const count = Math.max(1, end - start);
  const step_s = beats.length > start + 1 ? beats[start + 1][0] - beats[start][0] : 1;
  return { count: Math.min(count, 12), step_s };
}

export class Practice {
  /**
   * `data` has notes and beats; `passage` is passageOf's. `from_s` is where the first round begins. `drone` is a pitch that
   * stays [MIDI], a list of pitches from their times on [[s of the line, MIDI], …], or null.
   */
  constructor(context, data, passage, { rate, loop, countIn, clicks, hear, drone, knob, from_s, ended, round }) {
    Object.assign(this, { context, data, passage, rate, loop, clicks, hear, ended, round, from_s });
    this.out = context.createGain();
    this.out.gain.value = gainOf(knob);
    this.out.connect(context.destination);
    this.wave = waveOf(context);
    const lead = countIn ? countInOf(data.beats, from_s) : { count: 0, step_s: 0 };
    this.lead = lead;
    this.lead_s = lead.count * lead.step_s / rate;
    const zero = context.currentTime + FIRST_S;        // read once: the clock runs on while we schedule
    this.begun = zero + this.lead_s - (from_s - passage.begin_s) / rate;
    this.first = zero + this.lead_s;
    this.rounds = 0;
    this.tones = new Set();
    this.nextNote = firstFrom(data.notes, passage, from_s);
    this.beatsHere = data.beats.filter((beat) => beat[0] >= passage.begin_s - 1e-6 && beat[0] < passage.end_s - 1e-6);
    this.nextBeat = this.beatsHere.findIndex((beat) => beat[0] >= from_s - 1e-6);
    if (this.nextBeat < 0) this.nextBeat = this.beatsHere.length;
    this.noteRound = this.beatRound = this.droneRound = 0;
    for (let k = 0; k < lead.count; k += 1) {
      this.#click(zero + k * lead.step_s / rate, k === 0);
    }
    this.roots = Array.isArray(drone) ? rootsIn(drone, passage) : [];
    this.nextRoot = this.roots.findLastIndex(([at_s]) => at_s <= from_s + 1e-6) + 1;
    if (drone !== null) this.#drone(Array.isArray(drone) ? this.roots[Math.max(0, this.nextRoot - 1)][1] : drone);
    this.timer = setInterval(() => this.#schedule(), WAKE_MS);
    this.#schedule();
  }

  get round_s() { return this.passage.length_s / this.rate; }

  /** Where in the line we are, as heard now. [s of the line] */
  get at_s() {
    const gone = (this.context.currentTime - (this.context.outputLatency || 0) - this.begun) * this.rate;
    const within = this.loop && gone > 0 ? gone % this.passage.length_s : gone;
    return this.passage.begin_s + Math.min(within, this.passage.length_s);
  }

  /** While it counts in: {nth, count} of the beats, as heard now; then null. */
  get counting() {
    const left_s = (this.first - this.context.currentTime + (this.context.outputLatency || 0)) * this.rate;
    if (!this.lead.count || left_s <= 0) return null;
    const { count, step_s } = this.lead;
    return { nth: Math.min(count, Math.max(1, count + 1 - Math.ceil(left_s / step_s - 1e-6))), count };
  }

  set knob(value) { this.out.gain.setTargetAtTime(gainOf(value), this.context.currentTime, 0.02); }

  #when(line_s, round) { return this.begun + round * this.round_s + (line_s - this.passage.begin_s) / this.rate; }

  #schedule() {
    const now = this.context.currentTime, { notes } = this.data;
    for (;;) {
      if (this.nextNote > this.passage.last) {
        if (!this.loop) break;
        this.nextNote = this.passage.first;
        this.noteRound += 1;
      }
      const note = notes[this.nextNote], when = this.#when(note.start_s, this.noteRound);
      if (when > now + EARLY_S) break;
      if (note.label !== null && when > now - MOST_LATE_S) this.#sound(note, Math.max(now, when), notes[this.nextNote + 1]);
      this.nextNote += 1;
    }
    for (;;) {
      if (!this.clicks || !this.beatsHere.length) break;
      if (this.nextBeat >= this.beatsHere.length) {
        if (!this.loop) break;
        this.nextBeat = 0;
        this.beatRound += 1;
      }
      const [at_s, first] = this.beatsHere[this.nextBeat], when = this.#when(at_s, this.beatRound);
      if (when > now + EARLY_S) break;
      if (when > now - MOST_LATE_S) this.#click(Math.max(now, when), first);
      this.nextBeat += 1;
    }
    this.#moveDrone(now);
    const rounds = Math.floor((now - this.begun) / this.round_s);
    while (this.loop && rounds > this.rounds) { this.rounds += 1; this.round?.(this.rounds); }
    if (!this.loop && now > this.begun + this.round_s + 0.1) { this.stop(); this.ended(); }
  }

  #sound(note, when, next) {
    if (this.hear === "nothing") return;
    if (this.hear === "rhythm") { this.#click(when, false, 700); return; }
    this.#keep(voice(this.context, this.out, this.wave, note, when, note.sounds_s / this.rate, note.gliss ? next : null));
  }

  #click(when, first, pitch = 0) {
    const tone = this.context.createOscillator(), level = this.context.createGain();
    tone.type = "square";
    tone.frequency.setValueAtTime(pitch || CLICK_HZ[first ? 0 : 1], when);
    level.gain.setValueAtTime(0.5, when);
    level.gain.exponentialRampToValueAtTime(0.001, when + CLICK_S);
    tone.connect(level).connect(this.out);
    tone.start(when);
    tone.stop(when + CLICK_S + 0.01);
    this.#keep(tone);
  }

  #drone(midi) {
    const level = this.context.createGain();
    level.gain.value = 0.35;
    level.connect(this.out);
    this.droning = [];
    for (const [above, loud] of [[0, 1], [12, 0.4]]) {
      const tone = this.context.createOscillator(), gain = this.context.createGain();
      tone.setPeriodicWave(this.wave);
      tone.frequency.value = equal(midi + above);
      this.droning.push([above, tone.frequency]);
      gain.gain.value = loud;
      tone.connect(gain).connect(level);
      tone.start();
      this.#keep(tone);
    }
  }

  /** The drone goes on to the root of the next chord. */
  #moveDrone(now) {
    while (this.roots.length) {
      if (this.nextRoot >= this.roots.length) {
        if (!this.loop) break;
        this.nextRoot = 0;
        this.droneRound += 1;
      }
      const [at_s, midi] = this.roots[this.nextRoot], when = this.#when(at_s, this.droneRound);
      if (when > now + EARLY_S) break;
      for (const [above, hz] of this.droning) hz.setTargetAtTime(equal(midi + above), Math.max(now, when), DRONE_S);
      this.nextRoot += 1;
    }
  }

  #keep(tone) {
    this.tones.add(tone);
    tone.addEventListener("ended", () => this.tones.delete(tone));
  }

  /** Be silent at once. */
  stop() {
    clearInterval(this.timer);
    this.out.gain.cancelScheduledValues(this.context.currentTime);
    this.out.disconnect();
    for (const tone of this.tones) tone.stop();
    this.tones.clear();
  }
}

function equal(midi) { return 440 * 2 ** ((midi - 69) / 12); }

/** The roots within a passage, each from where it is new; the first from the passage's beginning. */
function rootsIn(roots, { begin_s, end_s }) {
  const before = roots.findLast(([at_s]) => at_s <= begin_s + 1e-6) ?? roots[0];
  const within = [[begin_s, before[1]], ...roots.filter(([at_s]) => at_s > begin_s + 1e-6 && at_s < end_s - 1e-6)];
  return within.filter(([, midi], nth) => nth === 0 || midi !== within[nth - 1][1]);
}

function firstFrom(notes, passage, from_s) {
  let index = passage.first;
  while (index < passage.last && notes[index].start_s < from_s - 1e-6) index += 1;
  return index;
}
