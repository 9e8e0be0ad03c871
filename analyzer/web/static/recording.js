// A recording in the browser: what the program behind the page cannot read is read here; played along, with the slide.

import { Slide } from "./slide.js";
import { Refused } from "./pieces.js";

// What the program behind the page reads itself; another form is read by the browser, and made small.
/** Names of files that hold sound; others of a folder are left alone. */
export const SOUND = /\.(wav|flac|ogg|oga|opus|mp3|aif|aiff|m4a|mp4|aac|webm)$/i;
const READ = /\.(wav|flac|ogg|oga|opus|mp3|aif|aiff)$/i, RATE = 22050, MOST_MINUTES = 12;
let context = null;

/** The recording as sound in this browser, for playing along; null where the browser cannot read it. */
async function decoded(file) {
  context ??= new AudioContext();
  try { return await context.decodeAudioData(await file.arrayBuffer()); } catch { return null; }
}

/** One channel of a sound as a WAV file of 16 bit at a rate that suits low brass. */
async function asWav(sound) {
  const offline = new OfflineAudioContext(1, Math.max(1, Math.ceil(sound.duration * RATE)), RATE), source = offline.createBufferSource();
  source.buffer = sound;
  source.connect(offline.destination);
  source.start();
  const samples = (await offline.startRendering()).getChannelData(0), bytes = new DataView(new ArrayBuffer(44 + samples.length * 2));
  const text = (at, word) => [...word].forEach((sign, nth) => bytes.setUint8(at + nth, sign.charCodeAt(0)));
  text(0, "RIFF"); bytes.setUint32(4, 36 + samples.length * 2, true); text(8, "WAVEfmt ");
  bytes.setUint32(16, 16, true); bytes.setUint16(20, 1, true); bytes.setUint16(22, 1, true);
  bytes.setUint32(24, RATE, true); bytes.setUint32(28, RATE * 2, true); bytes.setUint16(32, 2, true); bytes.setUint16(34, 16, true);
  text(36, "data"); bytes.setUint32(40, samples.length * 2, true);
  samples.forEach((value, nth) => bytes.setInt16(44 + 2 * nth, Math.max(-1, Math.min(1, value)) * 32767, true));
  return new Blob([bytes.buffer]);
}

/** A recording in a form that the program behind the page reads, at most `most` bytes: {content, name, sound}. */
export async function readable(file, most) {
  const sound = await decoded(file);
  if (READ.test(file.name) && file.size <= most) return { content: file, name: file.name, sound };
  if (!sound) throw new Refused(`${file.name}: this browser cannot read that form of sound. Export it as WAV, FLAC or MP3.`, 400);
  if (sound.duration > MOST_MINUTES * 60) throw new Refused(`${file.name} is ${Math.round(sound.duration / 60)} minutes long. Record the passage alone, ${MOST_MINUTES} minutes at most.`, 400);
  return { content: await asWav(sound), name: file.name, sound };
}

/** The line of a score (as /api/sound tells it) as it was played: each note where it sounds in the recording. */
export function asPlayed(line, stays) {
  const notes = stays.filter(({ index }) => line.notes[index]).map(({ index, start_s, end_s, out_mm }) => {
    const planned = line.notes[index];
    return { ...planned, start_s, sounds_s: end_s - start_s, extension_mm: out_mm ?? planned.extension_mm, planned_mm: planned.extension_mm };
  });
  return { ...line, notes };
}

/** A recording that sounds, with slide or valves as they were, and a dashed line where the plan has the slide. */
export class Playback {
  constructor(sound, line, svg, { note, ended }) {
    Object.assign(this, { line, note, ended, lit: null });
    this.calm = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
    if (line && line.notes.length) { this.slide = new Slide(svg); this.slide.build(line); }
    this.source = context.createBufferSource();
    this.source.buffer = sound;
    this.source.connect(context.destination);
    this.begun = context.currentTime + 0.05;
    this.source.addEventListener("ended", () => this.stop());
    this.source.start(this.begun);
    this.frame();
  }

  frame() {
    if (!this.source) return;
    const at = context.currentTime - this.begun;
    if (this.slide) {
      this.slide.show(at, this.calm);
      const here = this.line.notes.findLast(({ start_s }) => start_s <= at) ?? this.line.notes[0];
      this.slide.mark(here.planned_mm);
    }
    this.note(at);
    requestAnimationFrame(() => this.frame());
  }

  stop() {
    if (!this.source) return;
    const { source } = this;
    this.source = null;
    try { source.stop(); } catch { /* it has ended */ }
    this.ended();
  }
}

/** A browser lets sound begin only in answer to the hand. */
export function awake() { context ??= new AudioContext(); return context.resume(); }
