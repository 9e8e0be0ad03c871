// What is kept on this device: ticks and ladder of this passage, and how the page looks. Some previews keep nothing.

const LOOKS = "lowbrass looks";

function read(key) {
  try { return JSON.parse(localStorage.getItem(key) ?? "{}") ?? {}; } catch { return null; }
}

export class Kept {
  /** `refused` is called where the browser keeps nothing. */
  constructor(id, refused) {
    this.key = `lowbrass ${id}`;
    this.refused = refused;
    const found = read(this.key), looks = read(LOOKS);
    if (found === null) refused();
    this.clean = Array.isArray(found?.clean) ? found.clean : [];
    this.ladder = found?.ladder ?? null;
    this.looks = looks ?? {};
  }

  keep() { this.#write(this.key, { clean: this.clean, ladder: this.ladder }); }

  look(name, value) { this.looks[name] = value; this.#write(LOOKS, this.looks); }

  forget() { this.clean = []; this.ladder = null; this.keep(); }

  #write(key, value) { try { localStorage.setItem(key, JSON.stringify(value)); } catch { this.refused(); } }
}
