// Slide or valves drawn as they stand at a moment of the music.

import { noteAt } from "./sound.js";

const NS = "http://www.w3.org/2000/svg";
const HEIGHT = 118, LEFT = 108, BOW = 74;   // room for the label on the left, for the bow on the right [px]

function shape(name, attributes, text = "") {
  const element = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  element.textContent = text;
  return element;
}

/** Share of a least-jerk move that is done after the share `t` of its time. */
export function eased(t) {
  const within = Math.min(1, Math.max(0, t));
  return within ** 3 * (10 - 15 * within + 6 * within ** 2);
}

/** Where slide and valves are `at_s` seconds into the line: {mm, valves, label}; `jumping` without the way between. */
export function standingAt(notes, at_s, jumping = false) {
  const here = noteAt(notes, at_s);
  let last = Math.max(0, here);
  while (last > 0 && notes[last].label === null) last -= 1;
  const note = notes[last], next = notes[here + 1];
  const from = note.extension_mm ?? 0;
  const stands = { mm: from, valves: note.valves, label: notes[Math.max(0, here)].label };
  if (jumping || here < 0 || !next || next.extension_mm === null) return stands;
  const gone = eased(1 - (next.start_s - at_s) / note.move_s);
  return { ...stands, mm: from + (next.extension_mm - from) * gone };
}

export class Slide {
  constructor(svg) { this.svg = svg; }

  /** Draw for the horn of `sound` (the server's answer), one unit a pixel, so that its text can be read on any screen. */
  build(sound) {
    this.sound = sound;
    this.state = null;
    this.wanted = null;
    this.width = Math.max(300, Math.min(900, this.svg.clientWidth));
    this.svg.setAttribute("viewBox", `0 0 ${this.width} ${HEIGHT}`);
    this.text = shape("text", { x: 8, y: 62, class: "label" });
    this.svg.replaceChildren(this.text);
    if (sound.slide) this.#slide(sound); else this.#valves(sound);
  }

  #x(mm) { return LEFT + (this.width - BOW - 16 - LEFT) * mm / this.sound.slide.end_mm; }

  #slide({ slide, valves }) {
    this.inner = shape("path", { class: "inner" });
    this.tube = shape("path", { class: "outer" });
    this.scale = shape("g", { class: "scale" });
    this.svg.append(shape("rect", { x: LEFT, y: 80, width: this.#x(slide.reach_mm) - LEFT, height: 5, class: "reach" }), this.scale, this.inner, this.tube);
    this.held = valves.map((name, place) => {
      const group = shape("g", { class: "valve" });
      group.append(shape("rect", { x: 8 + place * 38, y: 78, width: 32, height: 32, rx: 6 }), shape("text", { x: 24 + place * 38, y: 101 }, name));
      this.svg.append(group);
      return [name, group];
    });
  }

  #valves({ valves }) {
    const wide = Math.min(90, (this.width - LEFT) / Math.max(1, valves.length));
    this.held = valves.map((name, place) => {
      const group = shape("g", { class: "valve" }), x = LEFT + wide * (place + 0.5), half = wide * 0.36;
      group.append(shape("rect", { x: x - half, y: 46, width: half * 2, height: 68, rx: 8 }), shape("ellipse", { cx: x, cy: 26, rx: half * 0.85, ry: 10, class: "cap" }), shape("path", { d: `M${x} 34 V46`, class: "stem" }), shape("text", { x, y: 90 }, name));
      this.svg.append(group);
      return [name, group];
    });
  }

  /** Show the moment `at_s` seconds into the line. */
  show(at_s, jumping) {
    const { mm, valves, label } = standingAt(this.sound.notes, at_s, jumping);
    for (const [name, group] of this.held) group.classList.toggle("held", valves.includes(name));
    this.text.textContent = label === null ? "×" : label.replace("#", "♯").replace(/b$/, "♭");
    if (!this.sound.slide) return;
    const state = valves.join("");
    if (state !== this.state) this.#places(state);
    const x = this.#x(mm);
    this.inner.setAttribute("d", `M${LEFT - 24} 28 H${x} M${LEFT - 24} 56 H${x}`);
    this.tube.setAttribute("d", `M${x} 22 V62 M${x} 28 H${x + BOW - 14} a14 14 0 0 1 0 28 H${x} M${x} 62 V76`);
  }

  /** A dashed line where the slide should be; none for null. */
  mark(mm) {
    this.wanted ??= this.svg.appendChild(shape("path", { class: "wanted" }));
    this.wanted.setAttribute("d", mm === null || mm === undefined || !this.sound.slide ? "" : `M${this.#x(mm)} 14 V88`);
  }

  #places(state) {
    this.state = state;
    const places = this.sound.slide.places[state] ?? [];
    this.scale.replaceChildren(...places.flatMap((mm, place) => [
      shape("path", { d: `M${this.#x(mm)} 77 V90` }), shape("text", { x: this.#x(mm), y: 110 }, `${state}${place + 1}`)]));
  }
}
