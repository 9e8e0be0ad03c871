// The engraved part: its notes become things to point at, to walk through with arrow keys, and to open.

const NS = "http://www.w3.org/2000/svg";
const TAP_PX = 22;      // how far beside a note a tap still means it: half a target of 44 px

/** Read an SVG text into an element of this page. The picture comes from our own engraver; scripts never run in it. */
export function picture(text) {
  const root = new DOMParser().parseFromString(text, "image/svg+xml").documentElement;
  if (root.localName !== "svg") throw new Error("no picture");
  for (const bad of root.querySelectorAll("script, foreignObject")) bad.remove();
  return document.importNode(root, true);
}

export function spoken(label) {
  return label.replace("♯", " sharp").replace("♭", " flat").replace("×", "cannot be played");
}

/** Where each system of the picture begins and ends, half-way between neighbours. */
function bandsOf(svg) {
  const height = svg.querySelector(".definition-scale").viewBox.baseVal.height;
  const shift = Number(/translate\([^,]+,\s*([\d.]+)/.exec(svg.querySelector(".page-margin").getAttribute("transform") || "")?.[1] ?? 0);
  const systems = [...svg.querySelectorAll(".system")].map((group) => [group, group.getBBox()]);
  return systems.map(([group, box], k) => {
    const next = systems[k + 1]?.[1], last = systems[k - 1]?.[1];
    const top = last ? (last.y + last.height + box.y) / 2 + shift : 0;
    const bottom = next ? (box.y + box.height + next.y) / 2 + shift : height;
    return { group, top, height: bottom - top };
  });
}

/** Cut the picture into one for each of its first `shown` systems, so that paper breaks between; signs stay in the first. */
function cut(svg, all, shown) {
  if (all.length < 2) return [svg];
  const bands = all.slice(0, shown);
  for (const { group } of all.slice(shown)) group.remove();
  const outer = svg.viewBox.baseVal, inner = svg.querySelector(".definition-scale"), page = svg.querySelector(".page-margin");
  const [width, whole] = [inner.viewBox.baseVal.width, inner.viewBox.baseVal.height];
  const scale = outer.height / whole;
  const pieces = bands.map(({ group, top, height }, k) => {
    if (k === 0) return [svg, inner, top, height];
    const [a, b, c] = [svg, inner, page].map((element) => element.cloneNode(false));
    c.append(group);
    b.append(c);
    a.append(b);
    return [a, b, top, height];
  });
  return pieces.map(([a, b, top, height]) => {
    a.setAttribute("viewBox", `0 ${top * scale} ${outer.width} ${height * scale}`);
    // The inner picture keeps the place and size that it had within the whole.
    for (const [name, value] of Object.entries({ x: 0, y: 0, width: outer.width, height: whole * scale })) b.setAttribute(name, value);
    b.setAttribute("viewBox", `0 0 ${width} ${whole}`);
    b.setAttribute("overflow", "visible");
    return a;
  });
}

/** What a screen reader says of a note. */
function nameOf(note) {
  const more = [note.pinned ? "chosen by you" : "", note.changed ? `usual ${spoken(note.usual)}` : ""].filter(Boolean);
  return `Measure ${note.measure}, note ${note.nth}: ${note.written}, ` +
    [note.label === null ? "cannot be played" : `played ${spoken(note.shown)}`, ...more].join(", ");
}

export class Music {
  /** `onOpen(index)` is called when a note is clicked or Enter is pressed on it; `onOther(line, ref)` when it is another player's. */
  constructor(place, onOpen, onOther) {
    this.place = place;
    this.onOpen = onOpen;
    this.groups = [];
    this.only = {};
    this.at = 0;
    place.addEventListener("keydown", (event) => this.#key(event));
    place.addEventListener("click", (event) => {
      const hot = event.target.closest(".hot"), other = event.target.closest(".other");
      if (hot) { this.#rove(Number(hot.dataset.index)); onOpen(Number(hot.dataset.index)); }
      else if (other) onOther(Number(other.dataset.line), Number(other.dataset.ref));
      else {
        // Noteheads are smaller than fingers: a tap beside one takes the nearest.
        const near = this.#nearest(event.clientX, event.clientY);
        if (near !== null) { this.#rove(near); onOpen(near); }
      }
    });
  }

  /** The note next to a place in the window, null where none is within a finger's breadth. */
  #nearest(x, y) {
    let best = null, least = TAP_PX;
    this.groups.forEach(([group], index) => {
      if (!group) return;
      const box = group.getBoundingClientRect();
      const away = Math.hypot(Math.max(0, box.left - x, x - box.right), Math.max(0, box.top - y, y - box.bottom));
      if (away < least) { least = away; best = index; }
    });
    return best;
  }

  /** `engraved` is the first length of the music, or has no picture; `others` are the notes of other players on this staff: {ref: line}. */
  show(engraved, notes, moved, others = {}) {
    const hadFocus = this.place.contains(document.activeElement);
    this.groups = notes.map(() => []);
    this.others = others;
    this.places = new Map(notes.map((note, index) => [note.refs[0], index]));
    this.only = {};
    this.names = [];
    this.waits = null;
    this.place.classList.toggle("plain", !engraved.svg);
    this.place.replaceChildren();
    if (engraved.svg) this.add(engraved, notes, moved);
    else {
      // No engraver: the notes stand as words, and work the same.
      this.place.replaceChildren(...notes.map((note, index) => {
        const item = document.createElement("span");
        item.textContent = `${note.written}: ${note.shown}`;
        item.classList.toggle("pinned", note.pinned);
        this.groups[index] = [item];
        this.#name(item, note, index);
        return item;
      }));
    }
    this.#rove(this.groups[this.at]?.length ? this.at : 0);
    if (hadFocus) this.focus(this.at);
  }

  /** Put a further length of the music below what stands. */
  add({ svg: text, prefix, systems }, notes, moved = new Set()) {
    const svg = picture(text);
    svg.removeAttribute("width");
    svg.removeAttribute("height");
    svg.setAttribute("role", "presentation");
    this.place.append(svg);
    const bands = bandsOf(svg), gone = new Set(bands.slice(systems).map(({ group }) => group));
    const shown = (ref) => {
      const group = document.getElementById(`${prefix}n${ref}`);
      return group && !(gone.size && gone.has(group.closest(".system"))) ? group : null;
    };
    // All boxes are measured before anything is added: each look after a change would lay out the whole anew.
    const boxes = new Map(), here = [];
    notes.forEach((note, index) => {
      if (this.groups[index].length === note.refs.length) return;
      for (const ref of note.refs) {
        const group = shown(ref);
        if (!group) continue;
        boxes.set(ref, [group, group.getBBox()]);
        if (here.at(-1) !== index) here.push(index);
      }
    });
    for (const [ref, line] of Object.entries(this.others)) {
      const group = shown(ref);
      if (group) Object.assign(group.dataset, { line, ref });
      group?.classList.add("other");
    }
    // The parts of a tied note may stand in two lengths.
    for (const index of here) this.groups[index] = [...this.groups[index], ...this.#heat(notes[index], index, moved, boxes)];
    const pieces = cut(svg, bands, systems);
    svg.replaceWith(...pieces);
    for (const piece of pieces) this.#heatMarks(piece);
    for (const name of Object.keys(this.only)) this.#only(name, this.only[name].index);
    if (this.waits !== null && this.groups[this.waits]?.length) {
      const to = this.waits;
      this.waits = null;
      this.focus(to);
      this.reveal(to, 0);
    }
  }

  /** Put new marks into the picture that stands; `groups` are the engraver's, each in the place of the one with its id. */
  swap(groups, notes, moved) {
    for (const text of groups) {
      const fresh = picture(`<svg xmlns="${NS}">${text}</svg>`).firstElementChild;
      document.getElementById(fresh.id)?.replaceWith(fresh);
      this.#heatMarks(fresh);
    }
    notes.forEach((note, index) => {
      const groups = this.groups[index] ?? [];
      // Another horn has other choices for notes whose mark is the same: what is said of a note decides, not its mark.
      if (!groups[0] || (!moved.has(index) && this.names[index] === nameOf(note))) return;
      this.#name(groups[0], note, index, true);
      for (const group of groups) {
        group.classList.toggle("pinned", note.pinned);
        group.classList.toggle("moved", moved.has(index));
      }
    });
  }

  /** Make marks within `place` things to click on, as their notes are. */
  #heatMarks(place) {
    for (const mark of place.querySelectorAll(".mark, .unplayable")) {
      const ref = Number(mark.dataset.ref);
      if (this.places.has(ref)) { mark.classList.add("hot"); mark.dataset.index = this.places.get(ref); }
      else if (this.others[ref]) { mark.classList.add("other"); mark.dataset.line = this.others[ref]; }
    }
  }

  #heat(note, index, moved, boxes) {
    const found = [];
    note.refs.forEach((ref, place) => {
      if (!boxes.has(ref)) return;
      const [group, box] = boxes.get(ref);
      const hit = document.createElementNS(NS, "rect");
      const values = { x: box.x - 70, y: box.y - 90, width: box.width + 140, height: box.height + 180, rx: 60 };
      for (const [name, value] of Object.entries(values)) hit.setAttribute(name, value);
      hit.setAttribute("class", "hit");
      group.prepend(hit);
      group.classList.add("hot");
      group.dataset.index = index;
      if (note.pinned) group.classList.add("pinned");
      if (moved.has(index)) group.classList.add("moved");
      if (place === 0) this.#name(group, note, index);
      else group.setAttribute("aria-hidden", "true");
      found.push(group);
    });
    return found;
  }

  #name(element, note, index, again = false) {
    element.classList.add("hot");
    element.dataset.index = index;
    element.setAttribute("role", "button");
    if (!again) element.setAttribute("tabindex", "-1");
    this.names[index] = nameOf(note);
    element.setAttribute("aria-label", this.names[index]);
  }

  choose(index) { this.#only("chosen", index); }

  /** Show which note sounds; null for none. */
  sound(index) { this.#only("sounding", index); }

  /** Give one note a class that no other has, null none: those that have it are remembered, not looked for. */
  #only(name, index) {
    for (const old of this.only[name]?.groups ?? []) old.classList.remove(name);
    this.only[name] = { index, groups: this.groups[index] ?? [] };
    for (const group of this.only[name].groups) group.classList.add(name);
  }

  /** Put the focus on a note; on one whose music is still to come once it is there. */
  focus(index) {
    const group = this.groups[index]?.[0];
    this.waits = group ? null : index;
    if (!group) return;
    this.#rove(index);
    group.focus({ preventScroll: true });
  }

  /** Bring a note into the part of the window that nothing covers. */
  reveal(index, covered) {
    const group = this.groups[index]?.[0];
    if (!group) return;
    const box = group.getBoundingClientRect();
    const top = (document.getElementById("bar")?.offsetHeight || 50) + 20, bottom = window.innerHeight - covered - 110;   // its mark stands below it
    if (box.top < top) window.scrollBy(0, box.top - top - 20);
    else if (box.bottom > bottom) window.scrollBy(0, Math.min(box.bottom - bottom, box.top - top));
  }

  #rove(index) {
    this.groups[this.at]?.[0]?.setAttribute("tabindex", "-1");
    this.at = index;
    this.groups[index]?.[0]?.setAttribute("tabindex", "0");
  }

  #key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const last = this.groups.length - 1;
    const go = { ArrowRight: this.at + 1, ArrowLeft: this.at - 1, Home: 0, End: last }[event.key];
    let to = go;
    if (event.key === "ArrowDown" || event.key === "ArrowUp") to = this.#vertical(event.key === "ArrowDown" ? 1 : -1);
    if (event.key === "Enter") {
      event.preventDefault();
      this.onOpen(this.at, true);
    } else if (to !== undefined) {
      event.preventDefault();
      this.focus(Math.max(0, Math.min(last, to)));
      this.reveal(this.at, 0);
    }
  }

  #vertical(direction) {
    // Rows are the engraver's systems; the nearest note by its horizontal place is taken.
    const here = this.groups[this.at]?.[0];
    if (!here) return this.at;
    const row = here.closest(".system");
    const x = here.getBoundingClientRect().left;
    let wanted = null, best = this.at, least = Infinity;
    for (let k = this.at + direction; k >= 0 && k < this.groups.length; k += direction) {
      const group = this.groups[k][0];
      const its = group?.closest(".system");
      if (!group || its === row) continue;
      wanted ??= its;
      if (its !== wanted) break;
      const away = Math.abs(group.getBoundingClientRect().left - x);
      if (away < least) { least = away; best = k; }
    }
    return best;
  }
}
