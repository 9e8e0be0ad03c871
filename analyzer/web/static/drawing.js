// The drawn part: what stands of it, new marks in it, and the lengths of a long part that are still to come.

import { covered, music } from "./choices.js";
import { ask, failed, page, question } from "./state.js";
import { picture } from "./music.js";
import { $, Refused, fail, make } from "./pieces.js";

const MOST_MOVES = 1500;      // notes whose movements are drawn at once: some 80 pictures
// What stands: what pictures and marks were made for, their names, that of the answer whose marks they have, and the
// measure with which the next length of a long part begins.
const NOTHING = { key: "", marksFor: "", ids: [], marks: "", next: null };
let shown = NOTHING, movesFor = "";
let rest = null;              // the lengths under way

/** What the pictures depend on, but for the marks in them. */
const keyOf = ({ session, part, line, from, to, width }) => JSON.stringify([session, part, line, from, to, width]);
/** What their marks depend on. */
const marksOf = (asked) => JSON.stringify({ ...asked, chosen: null });

/** Nothing stands. */
export function none() {
  hold();
  shown = NOTHING;
  movesFor = "";
}

/** What is still to come waits until `unroll`. */
export function hold() { rest?.abort(); }

/** What the server is told of what stands: names of the pictures that may stay, and of the answer whose marks they have. */
export function standing() {
  return { pictures: page.view === "marks" && shown.key === keyOf(question()) ? shown.ids : [], marks: shown.marks };
}

/** Whether what stands is not what is asked for now. */
export const stale = () => shown.marksFor !== marksOf(question());

/** Put new marks into the pictures that stand. */
export function swap(groups, moved) {
  music.swap(groups, page.answer.notes, moved);
  drawn(question(), shown.ids, shown.next);
}

/** The pictures `ids` stand, with the marks of the present answer. */
function drawn(asked, ids, next) {
  shown = { key: keyOf(asked), marksFor: marksOf(asked), ids, marks: page.answer.name, next };
  performance.mark("lowbrass-shown");
  performance.mark("lowbrass-engraved");
}

/** Draw the part anew: its first length. */
export async function engrave(signal, current, moved = new Set()) {
  const asked = question();
  const engraved = await ask("/api/music", signal).catch((error) => {
    // Without an engraver the plan stands all the same, as words.
    if (error instanceof Refused && error.status === 400) { fail(error.message); return { svg: "", picture: "", next: null }; }
    throw error;
  });
  if (!current()) return;
  music.show(engraved, page.answer.notes, moved, page.answer.others);
  music.choose(page.chosen);
  if (page.chosen !== null) music.reveal(page.chosen, covered());
  drawn(asked, engraved.picture ? [engraved.picture] : [], engraved.next);
}

const idle = () => new Promise((done) => { (window.requestIdleCallback ?? setTimeout)(done, { timeout: 500 }); });

/** Draw the lengths of a long part that still lack, one after another, while nobody waits for anything else. */
export async function unroll() {
  hold();
  if (!shown.key) return;
  const mine = rest = new AbortController(), going = () => mine === rest && !mine.signal.aborted && page.view === "marks";
  try {
    while (shown.next !== null && going()) {
      toCome();
      await idle();
      if (!going()) return;
      const found = await ask("/api/music", mine.signal, { at: shown.next });
      if (!going()) return;
      music.add(found, page.answer.notes);
      shown = { ...shown, ids: [...shown.ids, found.picture], next: found.next };
    }
    if (going()) { toCome(); await showMoves(mine.signal, going); }
  } catch (error) { failed(error); }
}

/** Say that more of the music is to come. */
function toCome() {
  $("to-come").hidden = shown.next === null;
  const here = page.answer.notes.find((_, index) => !music.groups[index].length);
  $("to-come").textContent = here ? `The music from measure ${here.measure} on is being drawn.` : "";
}

/** All of the part stands, for paper. */
export async function whole() {
  while (shown.next !== null && page.view === "marks") await new Promise((done) => { setTimeout(done, 60); });
  if (page.view === "marks" && shown.key) await showMoves(undefined, () => true, true);
}

/** Draw how slide or valves move, once that is looked at; of a very long part only of some measures. */
async function showMoves(signal, current, wantedNow = false) {
  const asked = question(), wanted = marksOf(asked);
  if (!$("picture").open || !(wantedNow || seen($("picture"))) || movesFor === wanted) return;
  if (page.answer.notes.length > MOST_MOVES) {
    $("pictures").replaceChildren(make("p", `${page.answer.notes.length} notes are too many to draw at once. Choose some measures at the top, and their movements stand here.`));
  } else {
    const found = await ask("/api/pictures", signal);
    if (!current()) return;
    $("pictures").replaceChildren(...found.pictures.map(picture));
  }
  movesFor = wanted;
}

/** Whether an element stands in the window or a window's height below it. */
const seen = (element) => element.getBoundingClientRect().top < 2 * window.innerHeight;
function looked() {
  if (page.view === "marks" && page.answer && shown.key && shown.next === null && $("work").getAttribute("aria-busy") === "false") unroll();
}
$("picture").addEventListener("toggle", looked);
new IntersectionObserver(looked, { rootMargin: "0px 0px 100% 0px" }).observe($("picture"));
