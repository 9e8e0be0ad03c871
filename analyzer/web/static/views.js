// The bar: six ways to look, some of them with several views; those of horns and library need no score.

import { on, page, tell } from "./state.js";
import { $ } from "./pieces.js";

const WAYS = { section: ["section"], marks: ["marks"], review: ["review"], practice: ["drill", "hear"],
  horns: ["chart", "change", "compare", "own"], library: ["survey", "search", "course"] };
export const WITHOUT_SCORE = new Set(["chart", "change", "own", "survey", "search", "course"]);
const ASKED = { section: "Choose a score, and it is held against your section.", marks: "Choose a score for positions or valves of a passage.",
  review: "Choose a score with the bass part in question.", drill: "Choose a score: the practice sheet is made from its hard moves.",
  hear: "Choose a score: a recording is held against its plan.", compare: "Choose a score: its part is planned on several horns." };
/** What each view does to show itself. */
export const VIEWS = {};
const last = Object.fromEntries(Object.entries(WAYS).map(([way, views]) => [way, views[0]]));

export const wayOf = (view) => Object.keys(WAYS).find((way) => WAYS[way].includes(view));

/** Show a view's place; what fills it comes after. Null: the first screen, where nothing is chosen. */
export function turn(view) {
  const way = view === null ? null : wayOf(view), free = WITHOUT_SCORE.has(view);
  if (view !== null) { last[way] = view; page.view = view; $("work").dataset.view = view; tell("view"); }
  for (const name of Object.keys(WAYS)) {
    const tab = $(`tab-${name}`);
    tab.setAttribute("aria-selected", String(name === way));
    tab.tabIndex = name === (way ?? "section") ? 0 : -1;
    tab.setAttribute("aria-controls", `view-${last[name]}`);
    for (const each of WAYS[name]) {
      $(`view-${each}`).hidden = each !== view;
      $(`sub-${each}`)?.setAttribute("aria-current", String(each === view));
    }
  }
  $("within").hidden = way === null || WAYS[way].length < 2;
  for (const group of document.querySelectorAll(".within")) group.hidden = group.dataset.way !== way;
  $("desk").hidden = !free;
  $("work").hidden = view === null || free;
  $("start").hidden = view !== null;
  $("home").hidden = $("another").hidden = view === null;
  const title = view === null || !page.score ? "" : page.score.title || page.score.file;
  $("title").textContent = title || "Positions and valves for whole passages";
  document.title = title ? `${title} · lowbrass` : "lowbrass";
  $("ask-score").hidden = true;
}

/** A view of a score is wanted and none is open: the first screen asks for one. */
function askFor(view) {
  tell("first-screen");
  last[wayOf(view)] = view;
  $("ask-score").textContent = ASKED[view];
  $("ask-score").hidden = false;
  $("ask-score").focus();
}

let begun = false, early = null;
/** Who is faster than the page's beginning is led on once it knows horns and samples. */
on("started", () => { begun = true; if (early) queueMicrotask(() => { go(early); early = null; }); });

/** Go to a view; `tell("turned")` has it filled. */
export function go(view) {
  if (!begun) { early = view; return; }
  if (!WITHOUT_SCORE.has(view) && !page.score) { askFor(view); return; }
  tell("turned", view);
}

$("views").addEventListener("click", (event) => { const tab = event.target.closest("[role=tab]"); if (tab) go(last[tab.id.slice(4)]); });
$("views").addEventListener("keydown", (event) => {
  const names = Object.keys(WAYS), here = names.findIndex((name) => $(`tab-${name}`) === document.activeElement), end = names.length - 1;
  const to = { ArrowRight: here === end ? 0 : here + 1, ArrowLeft: here <= 0 ? end : here - 1, Home: 0, End: end }[event.key];
  if (to === undefined) return;
  event.preventDefault();
  if (page.score || WITHOUT_SCORE.has(last[names[to]])) go(last[names[to]]);
  $(`tab-${names[to]}`).focus();
});
$("within").addEventListener("click", (event) => { const button = event.target.closest("button"); if (button) go(button.id.slice(4)); });
on("go", go);
