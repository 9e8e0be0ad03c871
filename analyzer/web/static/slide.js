// Slide or valves drawn as they stand at a moment of the music.

import { noteAt } from "./sound.js";

const NS = "http://www.w3.org/2000/svg";
const LEFT = 150, RIGHT = 960;

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

  /** Draw for the horn of `sound` (the server's answer). */
  build(sound) {
    this.sound = sound;
    this.state = null;
    this.svg.replaceChildren();
    if (sound.slide) this.#slide(sound); else this.#valves(sound);
    this.text = shape("text", { x: 20, y: sound.slide ? 66 : 84, class: "label" });
    this.svg.append(this.text);
  }

  #x(mm) { return LEFT + (RIGHT - LEFT) * mm / this.sound.slide.end_mm; }

  #slide({ slide, valves }) {
    this.svg.setAttribute("viewBox", "0 0 1000 130");
    this.svg.append(shape("path", { d: `M${LEFT - 40} 34 H${LEFT + 30} M${LEFT - 40} 62 H${LEFT + 30}`, class: "inner" }));
    this.tube = shape("path", { class: "outer" });
    this.scale = shape("g", { class: "scale" });
    this.svg.append(shape("rect", { x: LEFT, y: 84, width: this.#x(slide.reach_mm) - LEFT, height: 5, class: "reach" }), this.scale, this.tube);
    this.held = valves.map((name, place) => {
      const group = shape("g", { class: "valve" });
      group.append(shape("rect", { x: 20 + place * 40, y: 84, width: 34, height: 32, rx: 6 }), shape("text", { x: 37 + place * 40, y: 107 }, name));
      this.svg.append(group);
      return [name, group];
    });
  }

  #valves({ valves }) {
    this.svg.setAttribute("viewBox", "0 0 1000 130");
    this.held = valves.map((name, place) => {
      const group = shape("g", { class: "valve" }), x = 300 + place * 120;
      group.append(shape("rect", { x: x - 34, y: 50, width: 68, height: 76, rx: 8 }), shape("ellipse", { cx: x, cy: 32, rx: 30, ry: 12, class: "cap" }), shape("path", { d: `M${x} 40 V52`, class: "stem" }), shape("text", { x, y: 98 }, name));
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
    this.tube.setAttribute("d", `M${x} 28 V68 M${x} 34 H${x + 16} M${x} 62 H${x + 16} M${x - 26} 34 H${LEFT - 30} M${x - 26} 62 H${LEFT - 30} M${x} 48 V92`);
  }

  #places(state) {
    this.state = state;
    const places = this.sound.slide.places[state] ?? [];
    this.scale.replaceChildren(...places.flatMap((mm, place) => [
      shape("path", { d: `M${this.#x(mm)} 80 V94` }), shape("text", { x: this.#x(mm), y: 118 }, `${state}${place + 1}`)]));
  }
}
