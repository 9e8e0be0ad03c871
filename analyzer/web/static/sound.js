// Notes made to sound by the browser itself: a few partials through a filter that opens with the attack, no recordings.

const PARTIALS = [1, 0.6, 0.4, 0.25, 0.15, 0.1, 0.06, 0.04];   // amplitudes; judged, soft and a little brassy
const ATTACK_S = 0.025, RELEASE_S = 0.05;
const LOUDEST = 0.3;      // of full scale, with the knob at its end

/** Frequency of a note at its place in the chord, as its choice speaks there. [Hz, A4 = 440] */
export function hertz(note) { return 440 * 2 ** ((note.midi - 69 + ((note.target_cents ?? 0) + note.off_cents) / 100) / 12); }

/** Gain for a knob from 0 to 100: its square, as ears hear ratios. */
export function gainOf(knob) { return LOUDEST * (knob / 100) ** 2; }

/** Index of the note that sounds, or sounded last, `at_s` seconds into the line; -1 before the first. */
export function noteAt(notes, at_s) {
  let low = -1, high = notes.length - 1;
  while (low < high) {
    const middle = Math.ceil((low + high) / 2);
    if (notes[middle].start_s <= at_s) low = middle; else high = middle - 1;
  }
  return low;
}

/** The passage from note `first` to `last`: where it begins and how long it is until it may begin again. [s] */
export function passageOf(notes, first, last) {
  const begin_s = notes[first].start_s, next = notes[last + 1];
  const end_s = next ? next.start_s : notes[last].start_s + notes[last].sounds_s;
  return { first, last, begin_s, length_s: Math.max(0.2, end_s - begin_s) };
}

/** Let one note sound in `context` at `when` for `long` seconds; gives what must be stopped to silence it. */
export function voice(context, out, wave, note, when, long, glideTo = null) {
  const tone = context.createOscillator(), filter = context.createBiquadFilter(), level = context.createGain();
  const pitch = hertz(note), end = when + Math.max(0.04, long);
  tone.setPeriodicWave(wave);
  tone.frequency.setValueAtTime(pitch, when);
  if (glideTo) {
    tone.frequency.setValueAtTime(pitch, when + long * 0.3);
    tone.frequency.exponentialRampToValueAtTime(hertz(glideTo), end);
  }
  filter.type = "lowpass";
  filter.frequency.setValueAtTime(pitch * 2, when);
  filter.frequency.linearRampToValueAtTime(pitch * 7, when + ATTACK_S * 2);
  filter.frequency.linearRampToValueAtTime(pitch * 5, end);
  level.gain.setValueAtTime(0, when);
  level.gain.linearRampToValueAtTime(1, Math.min(end, when + ATTACK_S));
  level.gain.setValueAtTime(1, Math.max(when + ATTACK_S, end - RELEASE_S));
  level.gain.linearRampToValueAtTime(0, end);
  tone.connect(filter).connect(level).connect(out);
  tone.start(when);
  tone.stop(end + 0.01);
  return tone;
}

export function waveOf(context) {
  return context.createPeriodicWave(new Float32Array([0, ...PARTIALS.map(() => 0)]), new Float32Array([0, ...PARTIALS]));
}
