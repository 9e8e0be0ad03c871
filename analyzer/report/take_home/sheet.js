// The music, engraved for screens of several widths; the form that suits this one stands in the page. A system becomes
// part of the page when it comes near the view or is asked for, the others while nothing else is to be done: a long part
// must not keep its first line waiting.

const NEAR = "75% 0px", IDLE_MS = 6, NO_IDLE_MS = 60;
const ROW = /<div class="row" style="(aspect-ratio:(\d+)\/(\d+)[^"]*)">/;

/** Work when nothing else is to be done; not every browser tells when that is. */
function idly(work) {
  if (window.requestIdleCallback) window.requestIdleCallback(work, { timeout: 2000 });
  else setTimeout(() => work({ timeRemaining: () => 0 }), NO_IDLE_MS);
}

/** The text of a form: the narrow one as it is, the others packed; null where the browser cannot unpack them. */
async function textOf(held) {
  if (held.tagName === "NOSCRIPT") return held.textContent;
  if (!window.DecompressionStream) return null;
  const packed = Uint8Array.from(atob(held.textContent), (letter) => letter.charCodeAt(0));
  return new Response(new Blob([packed]).stream().pipeThrough(new DecompressionStream("deflate"))).text();
}

export class Sheet {
  /**
   * `home` holds the forms; the narrow one in a <noscript>, which a page without scripts shows. `indexOf` gives the note of the plan that a
   * printed note belongs to; `dress(index, groups, marks)` is called for every note that comes into the page.
   */
  constructor(home, indexOf, dress) {
    Object.assign(this, { home, indexOf, dress, form: null, boxes: [], systems: [], found: new Map(), where: new Map() });
    this.near = new IntersectionObserver((seen) => {
      for (const { target, isIntersecting } of seen) if (isIntersecting) this.#build(this.boxes.indexOf(target));
    }, { rootMargin: NEAR });
    window.addEventListener("beforeprint", () => this.boxes.forEach((_, nth) => this.#build(nth)));
  }

  /** Put the music into the page in this form, the narrow one where that cannot be. */
  async show(form) {
    if (form === this.form) return;
    this.form = form;
    const held = (name) => this.home.querySelector(`[data-form=${name}]`);
    const text = await textOf(held(form)) ?? held("narrow").textContent;
    if (form !== this.form) return;
    this.near.disconnect();
    const pieces = text.split(ROW);
    this.systems = [];
    let page = pieces[0];
    for (let k = 1; k < pieces.length; k += 4) {
      const [style, width, height, row] = pieces.slice(k, k + 4);
      this.systems.push({ text: row.slice(0, row.indexOf("</svg>") + 6), tall: height / width });
      page += `<div class="row" style="${style}"></div>`;
    }
    this.home.querySelector(".sheet")?.remove();
    this.home.insertAdjacentHTML("beforeend", `${page}</div>`);
    this.sheet = this.home.querySelector(".sheet");
    this.boxes = [...this.sheet.querySelectorAll(".row")];
    this.found = new Map();
    this.where = new Map();
    this.systems.forEach(({ text }, nth) => {
      for (const [, ref] of text.matchAll(/-n(\d+)" class="note"/g)) {
        const index = this.indexOf(Number(ref));
        if (index !== undefined) this.where.set(index, [...(this.where.get(index) ?? []), nth]);
      }
    });
    let down = 0;
    for (let nth = 0; nth < this.boxes.length && down < window.innerHeight; nth += 1) {
      this.#build(nth);
      down += this.systems[nth].tall * window.innerWidth;
    }
  }

  /** From now on systems come as they come near, and the rest little by little: a screen reader goes through all of it. */
  fill() {
    this.boxes.forEach((box, nth) => { if (this.systems[nth].text !== null) this.near.observe(box); });
    this.#rest();
  }

  #rest() {
    idly((time) => {
      do {
        const next = this.systems.findIndex(({ text }) => text !== null);
        if (next < 0) return;
        this.#build(next);
      } while (time.timeRemaining() > IDLE_MS);
      this.#rest();
    });
  }

  #build(nth) {
    const box = this.boxes[nth], { text } = this.systems[nth];
    if (text === null) return;
    this.systems[nth].text = null;
    this.near.unobserve(box);
    box.innerHTML = text;
    const fresh = new Map();
    const held = (ref, kind, thing) => {
      const index = this.indexOf(Number(ref));
      if (index === undefined) return;
      if (!fresh.has(index)) fresh.set(index, { groups: [], marks: [] });
      fresh.get(index)[kind].push(thing);
    };
    for (const group of box.querySelectorAll("g.note")) held(group.id.slice(group.id.lastIndexOf("-n") + 2), "groups", group);
    for (const mark of box.querySelectorAll("[data-ref]")) held(mark.dataset.ref, "marks", mark);
    for (const [index, { groups, marks }] of fresh) {
      const all = this.found.get(index) ?? { groups: [], marks: [] };
      this.found.set(index, { groups: [...all.groups, ...groups], marks: [...all.marks, ...marks] });
      this.dress(index, groups, marks);
    }
  }

  /** The shapes of a note that stand in the page, tied ones too: {groups, marks}. */
  note(index) { return this.found.get(index) ?? { groups: [], marks: [] }; }

  /** The same, put into the page if need be. */
  brought(index) {
    for (const nth of this.where.get(index) ?? []) this.#build(nth);
    return this.note(index);
  }

  /** The note nearest to a tap, if one is near: noteheads are smaller than fingers. */
  nearest(x, y, reach_px = 90) {
    let best = null, least = reach_px;
    for (const box of this.boxes) {
      if (beside(box.getBoundingClientRect(), x, y) >= least) continue;
      for (const group of box.querySelectorAll("g.note")) {
        const index = this.indexOf(Number(group.id.slice(group.id.lastIndexOf("-n") + 2)));
        if (index === undefined) continue;
        const far = beside(group.getBoundingClientRect(), x, y);
        if (far < least) { least = far; best = index; }
      }
    }
    return best;
  }
}

/** How far a point lies beside a box; above and below count less, as marks stand there. [px] */
function beside(box, x, y) {
  return Math.max(0, box.left - x, x - box.right) + 0.6 * Math.max(0, box.top - y, y - box.bottom);
}
