// What the tuner says of the note under the cursor, and what the hands or the lips can do about it.

import { slideMove } from "./tuner.js";

const TUNED_CENTS = 5, OTHER_NOTE_CENTS = 350;

/** What to say of a pitch `cents` beside its note: {heard, move}; `sound` has slide, master and valves. */
export function advice(note, hz, cents, sound) {
  if (cents === null) return { heard: `${note.name} is not on this horn: the page cannot tune it.`, move: "" };
  if (Math.abs(cents) > OTHER_NOTE_CENTS) return { heard: `That is another note (${hz.toFixed(1)} Hz).`, move: "" };
  const off = `${Math.abs(cents).toFixed(0)} cents ${cents > 0 ? "sharp" : "flat"}`;
  if (Math.abs(cents) <= TUNED_CENTS) return { heard: `${note.name}: in tune (${cents.toFixed(0)} cents)`, move: "" };
  return { heard: `${note.name}: ${off}`, move: sound.slide ? onSlide(note, cents, sound) : onValves(note, cents, sound) };
}

function onSlide(note, cents, { slide }) {
  const mm = slideMove(cents, note.half_mm), there = note.extension_mm + mm;
  if (there < 0) return "The slide is all the way in: lip it up, or take another position.";
  if (there > slide.reach_mm) return "The slide is at its end: lip it down, or take another position.";
  return `Slide ${mm > 0 ? "out →" : "← in"} ${Math.abs(mm).toFixed(0)} mm`;
}

/** Lips first; a slide is only for what is always so. Behind the master of a compensating horn, air goes through twice. */
function onValves(note, cents, { master }) {
  const mm = Math.abs(slideMove(cents, note.half_mm)).toFixed(0), held = note.valves;
  const which = held.length ? `the slide of valve ${held.join(" or ")}` : "the main tuning slide";
  const far = held.length > 1 && held.includes(master) ? "" : `, ${mm} mm`;
  return cents > 0 ? `Lip it down ↓. If it is so every time: ${which} out${far}`
    : `Lip it up ↑. If it is so every time: ${which} in${far}, where it is out so far`;
}

/** Why there is no microphone, in words that help. */
export function noMicrophone(error) {
  if (error?.name === "NotAllowedError") return "The microphone was refused. Allow it for this page in the browser's settings, or save this page and open it in the browser.";
  if (error?.name === "NotFoundError") return "No microphone was found on this device.";
  return "No microphone here. Save this page, then open it in the browser; some phones give pages from a file no microphone.";
}

/** One microphone for tuner and recorder: on as long as one of them needs it. */
export class Microphone {
  constructor() { this.users = new Set(); this.stream = null; }

  async take(user) {
    if (!navigator.mediaDevices?.getUserMedia) throw new Error("no microphone");
    this.users.add(user);
    try {
      this.opening ??= navigator.mediaDevices.getUserMedia({ audio: { echoCancellation: false, noiseSuppression: false, autoGainControl: false } });
      this.stream = await this.opening;
      return this.stream;
    } catch (error) { this.users.delete(user); this.opening = null; throw error; }
  }

  leave(user) {
    this.users.delete(user);
    if (this.users.size) return;
    for (const track of this.stream?.getTracks() ?? []) track.stop();
    this.stream = this.opening = null;
  }
}
