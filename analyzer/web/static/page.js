// The page: opening a score, asking for plan and music, going from view to view.

import { closeChoices, music } from "./choices.js";
import { ask, back, busy, change, page, failed, keep, kept, on, post, question, reopen, savedAs, settle, state, step, tell, working } from "./state.js";
import { VIEW_OF, fillDoors } from "./doors.js";
import * as drawing from "./drawing.js";
import { $, call, fail, headline, make, say, tableOf } from "./pieces.js";
import "./pins.js";
import "./play.js";
import { showComparison } from "./compare.js";
import { showReview } from "./review.js";
import { showSection } from "./section.js";
import { fillSettings } from "./settings.js";
import { paper } from "./print-paper.js";
import { VIEWS, WITHOUT_SCORE, turn } from "./views.js";
import "./horns.js";
import "./library.js";
import "./ways.js";
import "./pick.js";
import "./practice.js";
import "./hear.js";

const LONG = 400;      // notes of a part that is drawn in several lengths: the page keeps room for the choices
Object.assign(VIEWS, { section: showSection, marks: () => {}, review: showReview, compare: showComparison });

// --- opening a score ----------------------------------------------------------------------------------------------

/** Where a score is asked for: what is not to be kept says so, and stays so where it is opened once more. */
const unkept = (again) => (again ? page.score.private : page.private);
const keeping = (again, more = {}) => `/api/open?${new URLSearchParams({ ...more, ...(unkept(again) ? { keep: "no" } : {}) })}`;

/** Open a file; `way` is the door it came through, none where the present view stays. */
async function openFile(file, way = null, again = false) {
  const limit = page.start.limit_mib;
  fail("");
  if (file.size > limit * 2 ** 20) {
    fail(`${file.name} has ${Math.round(file.size / 2 ** 20)} MiB, more than a score needs (limit ${limit} MiB). Export only the low-brass parts, or split the score.`);
    return;
  }
  const sending = { method: "POST", body: file, headers: { "X-File-Name": encodeURIComponent(file.name), "Content-Type": "application/octet-stream" } };
  await opening(keeping(again), sending, { sample: null, private: unkept(again) }, () => openFile(file, way, true), again, way);
}

async function openSample(name, way = null, again = false) {
  fail("");
  await opening(keeping(again, { sample: name }), { method: "POST" }, { sample: name, private: unkept(again) }, () => openSample(name, way, true), again, way);
}

/** Open a score that is kept on this computer, as it was left. */
async function openKept(id, again = false) {
  fail("");
  await opening(`/api/open?kept=${id}`, { method: "POST" }, { sample: null, private: false }, () => openKept(id, true), again, "as left");
}

async function opening(path, sending, more, once, again, way) {
  $("start-busy").hidden = false;
  try {
    const found = await working(async (signal) => (await call(path, { ...sending, signal })).json());
    reopen.now = once;
    await opened({ ...found, ...more }, again, way);
  } catch (error) { failed(error); } finally { $("start-busy").hidden = true; }
}

/** No part is low brass, or the one that is has no notes: say so, name the parts, and let one be chosen all the same. */
function pick(found, way) {
  $("notice").textContent = found.notice;
  $("pick").querySelector("ul").replaceChildren(...found.parts.map((part) => {
    const item = make("li"), button = make("button", part.name, { type: "button" });
    button.addEventListener("click", () => opened({ ...found, notice: "", parts: [part, ...found.parts.filter((other) => other !== part)] }, false, way));
    item.append(button);
    return item;
  }));
  turn(null);
  $("pick").hidden = false;
  $("notice").scrollIntoView({ block: "nearest" });
}

/** A score that a search found: its part, on the horn that it was found for. */
on("library-score", async ({ part, line, horn, ...asked }) => {
  fail("");
  const body = JSON.stringify({ held: asked.held, file: asked.file, keep: !page.private });
  page.found = { part, line, horn };
  await opening("/api/library/score", { method: "POST", body, headers: { "Content-Type": "application/json" } }, { sample: null, private: page.private }, null, false, "passage");
});

async function opened({ settings = null, ...found }, again, way) {
  $("pick").hidden = true;
  if (found.notice && !again) { pick(found, way); return; }
  const stay = again || (page.score && page.score.lost && page.score.file === found.file);
  const player = page.at >= 0 ? state().player : page.desk.player ?? {};
  page.score = found;
  if (!stay) {
    const left = settle(settings);
    if (!left) {
      // A bass part is looked for where that door was taken; else the first low-brass part of the score.
      const wanted = page.found;
      const part = (wanted && found.parts.find(({ id }) => id === wanted.part)) || (way === "bass" && found.parts.find(({ low_brass: low, horn }) => low && horn.startsWith("bass"))) || found.parts[0];
      const line = wanted?.line ?? 1, horn = page.start.horns.some(({ name }) => name === wanted?.horn) ? wanted.horn : "";
      page.states = [{ part: part.id, line, horn, from: "", to: "", tempo: null, player, pins: [] }];
      page.at = 0;
    }
    page.found = null;
    if (WITHOUT_SCORE.has(page.view)) page.view = "marks";
    if (way) page.view = VIEW_OF[way] ?? (left && VIEWS[settings.view] ? settings.view : "marks");
    page.chosen = null;
    tell("opened");
    blank();
    window.scrollTo(0, 0);
  }
  show();
  // Whoever goes by keys goes on from the answer.
  if (!stay) $("answer").focus({ preventScroll: true });
  await solve();
  if (!stay) say(`${found.file} is open.`);
}

on("opened", () => { written = null; });

/** Nothing of the score before may stand under the name of the new one, whatever its answer will be. */
function blank() {
  page.answer = null;
  page.answered = null;
  drawing.none();
  for (const id of ["heading", "summary", "count", "review-said"]) $(id).textContent = "";
  for (const id of ["problems", "cautions", "pictures"]) $(id).replaceChildren();
  $("supposed").hidden = true;
  music.show({ svg: "" }, [], new Set());
}

function show() {
  const { score } = page;
  $("rewritten").hidden = !written;
  const low = score.parts.filter((part) => part.low_brass), rest = score.parts.filter((part) => !part.low_brass);
  const options = (parts) => parts.map((part) => make("option", part.name, { value: part.id }));
  $("part").replaceChildren(...options(low));
  if (rest.length) {
    const group = make("optgroup", "", { label: "Other parts" });
    group.append(...options(rest));
    $("part").append(group);
  }
  turn(page.view);
  if (page.view !== "marks") { tell("stop"); closeChoices(false); }
}

// --- asking -------------------------------------------------------------------------------------------------------

async function solve(done = "") {
  try {
    await working(async (signal, current) => {
      drawing.hold();
      // What stands goes along: the answer is what is new since, with new marks for the pictures.
      const old = page.answer, standing = { answer: old?.name ?? "", ...drawing.standing() };
      const asking = ask("/api/plan", signal, { standing });
      fillSettings();
      keep();
      tell("stop");
      const found = await asking;
      if (!current()) return;
      fail(page.warning || "");
      page.warning = "";
      const moved = take(found.differs ? renewed(old, found) : found, done);
      if (page.view !== "marks") await VIEWS[page.view](signal, current);
      else if (found.groups) drawing.swap(found.groups, moved);
      else await drawing.engrave(signal, current, moved);
      if (page.view === "marks") drawing.unroll();
    });
  } catch (error) {
    failed(error);
    if (page.view === "marks" && error.name !== "AbortError" && !page.score.lost) drawing.unroll();
    if (!page.answer && error.status === 400 && page.score) { nothingIn(error.message); return; }
    // The question itself was wrong, not what a view made of its answer.
    if (error.status === 400 && page.answered !== state()) { back(); fillSettings(); }
  }
}

/** The first part that was looked at cannot be answered for, such as one of rests alone: another may be. */
function nothingIn(said) {
  const { part } = state(), found = page.score;
  fail("");
  page.score = null;
  pick({ ...found, notice: said, parts: found.parts.filter(({ id }) => id !== part) }, null);
}

/** The answer that says only what is new, filled up from the one before. */
function renewed(old, found) {
  return { ...found, candidates: old.candidates, notes: old.notes.map((note, index) => found.differs[index] ?? note) };
}

function take(found, done) {
  const old = page.answer;
  const comparable = old && old.part === found.part && old.line === found.line && old.horn === found.horn;
  const before = new Map(comparable ? old.notes.map((note) => [note.refs[0], note.shown]) : []);
  const moved = new Set();
  found.notes.forEach((note, index) => {
    if (before.has(note.refs[0]) && before.get(note.refs[0]) !== note.shown) moved.add(index);
  });
  // The chosen note is found again by its place in the part: other measures may be shown now.
  const ref = page.wanted ?? (page.chosen !== null && comparable ? old.notes[page.chosen]?.refs[0] : null);
  page.wanted = null;
  page.answer = found;
  page.answered = state();
  page.chosen = ref === null ? null : found.notes.findIndex((note) => note.refs[0] === ref);
  if (page.chosen === -1) page.chosen = null;
  tell("answer");
  facts();
  if (done) say(`${done} ${moved.size === 1 ? "1 mark" : `${moved.size} marks`} changed.`);
  return moved;
}

function facts() {
  const { answer } = page;
  $("heading").textContent = answer.heading;
  headline($("summary"), answer.summary);
  $("supposed").hidden = !answer.supposed.length;
  $("supposed").querySelector("ul").replaceChildren(...answer.supposed.map((text) => make("li", text)));
  $("key-aim").hidden = !answer.notes.some(({ aim }) => aim);
  $("count").textContent = answer.unplayable ? `${answer.unplayable} of ${answer.notes.length} notes cannot be played` : `${answer.notes.length} ${answer.notes.length === 1 ? "note" : "notes"}`;
  doubt();
  const troubles = answer.notes.filter((note) => note.problem).map((note) => `Measure ${note.measure}, note ${note.nth}: ${note.problem}`);
  $("problems").replaceChildren(...[...troubles, ...answer.problems].map((text) => make("li", text)));
  $("cautions").replaceChildren(...answer.cautions.map((text) => make("li", text)));
  $("stage").classList.toggle("long", page.long = answer.notes.length > LONG);
  $("picture-name").textContent = answer.family === "slide" ? "How the slide moves" : "How the valves move";
  if ($("table").open) table();
}

/** A treble clef may be read in two ways, and the score does not tell: a question, with what was taken. */
function doubt() {
  const { answer } = page, told = answer.supposed.find((text) => text.startsWith("Transposition:"));
  $("doubt").hidden = !answer.treble || !(told || state().reads);
  const concert = answer.notes[0]?.written === answer.notes[0]?.sounding;
  $("doubt-said").textContent = told ? told.replace(/^Transposition: /, "Treble clef: ").replace(/\.?$/, ".") : "Treble clef: as you chose.";
  $("doubt-ninth").setAttribute("aria-pressed", String(!concert));
  $("doubt-concert").setAttribute("aria-pressed", String(concert));
}
for (const [id, reads] of [["doubt-ninth", "treble-b-flat"], ["doubt-concert", "concert"]]) $(id).addEventListener("click", () => change({ reads }, "Read another way."));

function table() { $("table").querySelector(".scroll").replaceChildren(tableOf(page.answer.notes)); }

function download(ending, button) {
  return savedAs(button, () => working((signal) => post("/api/file", question({ ending, paper: paper() }), signal), "Making the file"));
}

// --- views --------------------------------------------------------------------------------------------------------

async function turned(view) {
  turn(view);
  if (view !== "marks") { drawing.hold(); tell("stop"); closeChoices(false); }
  if (WITHOUT_SCORE.has(view)) {
    try { await VIEWS[view](); } catch (error) { failed(error); }
    return;
  }
  keep();
  if (!page.answer) return;
  try {
    await working(async (signal, current) => {
      if (view !== "marks") await VIEWS[view](signal, current);
      else if (drawing.stale()) await drawing.engrave(signal, current);
      if (view === "marks" && current()) drawing.unroll();
    });
  } catch (error) { failed(error); }
}

on("turned", turned);

// Notes changed so that they can be played: the score as written waits behind it.
let written = null;
on("rewritten", async (found) => {
  const before = { score: page.score, states: page.states, at: page.at, view: page.view };
  const { settings, ...score } = found;
  page.score = { ...score, sample: null, private: before.score.private };
  page.states = [{ ...state() }];
  page.at = 0;
  page.chosen = null;
  reopen.now = score.kept ? () => openKept(score.kept, true) : null;
  tell("opened");
  blank();
  written = before;
  page.view = "marks";
  show();
  await solve("The notes are changed.");
  $("as-written").focus();
});
$("as-written").addEventListener("click", async () => {
  Object.assign(page, written);
  page.chosen = null;
  tell("opened");
  blank();
  show();
  await solve("As written again.");
});

/** Another view names a note: show it among the marks. */
on("goto", async ({ part, line, index, horn = part === state().part ? state().horn : "", player = state().player }) => {
  turn("marks");
  const before = page.at;
  change({ part, line, horn, player });
  if (page.at === before) await turned("marks");
  await settledOnce();
  if (index !== null && page.answer.notes[index]) { tell("pointed", index); music.focus(index); music.reveal(index, 0); }
});

function settledOnce() {
  return new Promise((done) => {
    const look = () => ($("music").getAttribute("aria-busy") === "false" ? done() : setTimeout(look, 30));
    look();
  });
}

// --- what the user does -------------------------------------------------------------------------------------------

$("start-cancel").addEventListener("click", () => page.asking?.abort());
for (const [id, way] of [["file-section", "section"], ["file", "passage"], ["file-bass", "bass"], ["file-again", null]]) {
  $(id).addEventListener("change", (event) => { const file = event.target.files[0]; event.target.value = ""; if (file) openFile(file, way); });
}
document.addEventListener("dragover", (event) => { event.preventDefault(); document.body.classList.add("over"); });
document.addEventListener("dragleave", (event) => { if (!event.relatedTarget) document.body.classList.remove("over"); });
document.addEventListener("drop", (event) => {
  event.preventDefault();
  document.body.classList.remove("over");
  const files = event.dataTransfer?.files ?? [];
  // A recording that falls on a planned part is heard, whatever view of it is shown.
  if (page.answer && !$("work").hidden && [...files].some(({ type, name }) => /^(audio|video)\//.test(type) || /\.(wav|flac|ogg|opus|mp3|m4a|aiff?)$/i.test(name))) { tell("go", "hear"); tell("recording", files); }
  else if (files.length === 1) openFile(files[0], $("start").hidden ? null : event.target.closest?.(".door")?.dataset.way ?? "passage");
  else fail(files.length ? "Drop one score at a time." : "That was not a file. Drop a score.");
});
$("size").addEventListener("change", () => solve());
$("undo").addEventListener("click", () => step(-1));
$("redo").addEventListener("click", () => step(1));
$("print").addEventListener("click", async () => { await drawing.whole(); window.print(); });
$("table").addEventListener("toggle", () => { if ($("table").open && page.answer) table(); });
for (const button of document.querySelectorAll("[data-ending]")) button.addEventListener("click", () => download(button.dataset.ending, button));
document.addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || event.target.matches("input:not([type=range]):not([type=checkbox])")) return;
  const letter = event.key.toLowerCase();
  if (letter === "z" && !event.shiftKey) { event.preventDefault(); step(-1); }
  else if (letter === "y" || (letter === "z" && event.shiftKey)) { event.preventDefault(); step(1); }
});

function resized() {
  if (page.score && page.at >= 0 && page.answer && page.view === "marks") solve();
}
let width = window.innerWidth;
window.addEventListener("resize", () => {
  if (window.innerWidth === width) return;
  width = window.innerWidth;
  clearTimeout(resized.timer);
  resized.timer = setTimeout(resized, 250);
});
on("asked", solve);
on("resized", resized);
on("cancelled", () => {
  if (page.answer && page.answered !== state()) { back(); fillSettings(); }
  if (page.answer && page.view === "marks") drawing.unroll();
});

async function begin() {
  // On a phone the pictures are many screens long: they open when asked for.
  if (window.matchMedia("(max-width: 40rem)").matches) $("picture").open = false;
  try {
    page.start = await (await call("/api/start")).json();
  } catch (error) { failed(error); return; }
  const { start } = page;
  $("limit").replaceChildren(...start.ceilings.map(({ text, value }) => make("option", text, { value })));
  page.desk = start.memory.desk ?? {};
  fillDoors(openKept, openSample);
  tell("started");
  if (kept()) {
    if (page.score.kept) reopen.now = () => openKept(page.score.kept, true);
    else if (page.score.sample) reopen.now = () => openSample(page.score.sample, null, true);
    show();
    await solve();
  } else busy(false);
}
begin();
