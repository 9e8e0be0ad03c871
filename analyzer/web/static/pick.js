// Measures chosen by drawing over the music, with mouse or finger: to loop, to look at alone, to take along.

import { change, on, page, post, question, savedAs, state, tell, working } from "./state.js";
import { $, say } from "./pieces.js";

const FAR_PX = 12;            // a hand that moves less means a note
let from = null, picked = null, swallow = false;

/** Every measure that is drawn: its box in the window, and the first and last note in it. */
function measures() {
  return [...$("music").querySelectorAll("g[id*=m]")].filter(({ id }) => /^music-(\d+-)?m\d+$/.test(id)).map((group) => {
    const notes = [...group.querySelectorAll(".hot[role=button]")].map(({ dataset }) => Number(dataset.index));
    return { box: group.getBoundingClientRect(), row: group.closest(".system"), first: Math.min(...notes), last: Math.max(...notes), empty: !notes.length };
  });
}

/** Place in `all` of the measure under a point, or next to it: first the line of music, then the place in it. */
function under(all, x, y) {
  const away = (low, high, at) => Math.max(0, low - at, at - high);
  let best = 0, least = Infinity;
  all.forEach(({ box }, place) => {
    const far = 10 * away(box.top - 12, box.bottom + 30, y) + away(box.left, box.right, x);
    if (far < least) { least = far; best = place; }
  });
  return best;
}

function begin(event) {
  if (event.button !== 0 || !page.answer || $("music").classList.contains("plain")) return;
  from = { x: event.clientX, y: event.clientY, all: null, at: 0 };
}

function move(event) {
  if (!from) return;
  if (!from.all) {
    if (Math.hypot(event.clientX - from.x, event.clientY - from.y) < FAR_PX) return;
    from.all = measures();
    from.at = under(from.all, from.x, from.y);
    from.scrolled = window.scrollY;
    $("music").setPointerCapture(event.pointerId);
  }
  event.preventDefault();
  const to = under(from.all, event.clientX, event.clientY + window.scrollY - from.scrolled);
  draw(from.all.slice(Math.min(from.at, to), Math.max(from.at, to) + 1), from.scrolled);
}

function end(event) {
  const done = from;
  from = null;
  if (!done?.all) return;
  swallow = true;
  setTimeout(() => { swallow = false; });
  const to = under(done.all, event.clientX, event.clientY + window.scrollY - done.scrolled);
  const inside = done.all.slice(Math.min(done.at, to), Math.max(done.at, to) + 1).filter(({ empty }) => !empty);
  if (!inside.length) { clear(); say("There are no notes in these measures."); return; }
  const { notes } = page.answer;
  chosen(notes[inside[0].first].measure, notes[inside[inside.length - 1].last].measure);
}

/** A band for each line of music over the measures. */
function draw(inside, scrolled) {
  const rows = new Map(), origin = $("paper").getBoundingClientRect(), shift = window.scrollY - scrolled;
  for (const { box, row } of inside) rows.set(row, [...(rows.get(row) ?? []), box]);
  $("bands").replaceChildren(...[...rows.values()].map((boxes) => {
    const band = document.createElement("div"), left = Math.min(...boxes.map((box) => box.left)), top = Math.min(...boxes.map((box) => box.top));
    Object.assign(band.style, { left: `${left - origin.left}px`, top: `${top - origin.top - shift - 6}px`,
      width: `${Math.max(...boxes.map((box) => box.right)) - left}px`, height: `${Math.max(...boxes.map((box) => box.bottom)) - top + 34}px` });
    return band;
  }));
}

function chosen(first, last) {
  picked = { first, last };
  $("picked").hidden = false;
  $("picked-said").textContent = first === last ? `Measure ${first}` : `Measures ${first} to ${last}`;
  say(`${$("picked-said").textContent}: loop, show alone, or take along.`);
}

/** Nothing is chosen any more. */
function clear() {
  picked = null;
  $("picked").hidden = true;
  $("bands").replaceChildren();
}

$("music").addEventListener("pointerdown", begin);
$("music").addEventListener("pointermove", move);
$("music").addEventListener("pointerup", end);
$("music").addEventListener("pointercancel", () => { if (from?.all) clear(); from = null; });
$("music").addEventListener("click", (event) => { if (swallow) { event.stopPropagation(); event.preventDefault(); } }, true);
$("picked-loop").addEventListener("click", () => tell("loop", picked.first, picked.last));
$("picked-only").addEventListener("click", () => { const { first, last } = picked; clear(); change({ from: first, to: last }, "These measures alone."); });
$("picked-take").addEventListener("click", () => savedAs($("picked-take"), () => working((signal) => post("/api/file", question({ ending: "take-home", from: picked.first, to: picked.last }), signal), "Making the page")));
$("picked-none").addEventListener("click", () => { clear(); $("music").querySelector("[tabindex='0']")?.focus({ preventScroll: true }); });
$("whole").addEventListener("click", () => change({ from: "", to: "" }, "The whole part."));
// By keys: [ and ] name the first and the last.
on("bounds", (first, last) => { $("bands").replaceChildren(); chosen(first, last); });
/** Another view pointed at a note: its measure is chosen, and seen. */
on("pointed", (index) => {
  const { measure } = page.answer.notes[index];
  chosen(measure, measure);
  draw(measures().filter(({ first, last, empty }) => !empty && first <= index && index <= last), window.scrollY);
});
// The bar follows the loop that is set beside it; where other measures are shown, it names none.
on("passage", (first, last) => { if (picked) { $("bands").replaceChildren(); chosen(first, last); } });
on("passages", clear);
on("answer", () => { $("whole").hidden = !(state().from || state().to); });
on("opened", clear);
on("asked", () => $("bands").replaceChildren());
window.addEventListener("resize", () => $("bands").replaceChildren());
