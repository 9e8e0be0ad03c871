// A note that cannot be played: what could be played in its place, on which horn it is there, which slide to pull; each
// looked at first, then taken or left.

import { change, failed, on, page, post, question, tell } from "./state.js";
import { $, Refused, make, say } from "./pieces.js";
import { beforeAndAfter } from "./review.js";
import { stuck, toil } from "./toil.js";

const place = () => $("ways").querySelector(".toil");
let reviewed = { of: "", found: null };       // the last review, and the question it answers

/** What a review depends on. */
const reviewOf = () => JSON.stringify({ ...question(), chosen: null, pins: [], width: 0 });

async function review(signal) {
  const of = reviewOf();
  if (reviewed.of !== of) reviewed = { of, found: await (await post("/api/review", question(), signal)).json() };
  return reviewed.found;
}

function show(index) {
  const note = page.answer.notes[index];
  place().toil?.abort();
  $("ways").hidden = !note.problem;
  $("ways-found").replaceChildren();
  if (!note.problem) return;
  const look = make("button", "What can be done here?", { type: "button", id: "ways-look", class: "strong" });
  look.addEventListener("click", () => find(index));
  $("ways-found").append(look);
}

async function find(index) {
  const { line } = page.answer;
  try {
    await toil(place(), "Looking for ways out…", async (signal) => {
      const found = await review(signal);
      if (page.chosen !== index) return;
      const mine = found.page.changes.find((one) => one.part === page.answer.part && one.line === line && one.index === index);
      const known = found.findings.filter((one) => one.severity === "stop" && one.line === line && one.index === index);
      const out = [];
      if (mine) out.push(await changeOf(mine, found.page.changes, signal));
      out.push(...pullsOf(known, index), ...hornsOf(known));
      if (!out.length) out.push(make("p", "Nothing else was found for this note: it stays as written, or is left out."));
      if (page.chosen !== index) return;
      $("ways-found").replaceChildren(...out);
      ($("ways-found").querySelector("button") ?? $("note")).focus({ preventScroll: true });
    });
  } catch (error) { if (error instanceof Refused) stuck(place(), error); else failed(error); }
}

/** Another note in its place: the measure before and after, to take or to leave. */
async function changeOf(mine, all, signal) {
  const box = make("section", "", { class: "finding", "aria-label": "Another note in its place" });
  const pair = make("div", "", { class: "before-after" }), row = make("p", "", { class: "row" });
  pair.append(...beforeAndAfter(await (await post("/api/change", question({ place: mine.place }), signal)).json()));
  const take = make("button", "Change this note", { type: "button", class: "strong" }), leave = make("button", "Leave it", { type: "button" });
  take.addEventListener("click", () => apply(all.filter((one) => one.place !== mine.place).map((one) => one.place)));
  leave.addEventListener("click", () => { show(page.chosen); $("note").focus({ preventScroll: true }); say("It stays as written."); });
  row.append(take, leave);
  if (all.length > 1) {
    const every = make("button", `Make all ${all.length} such changes in this part`, { type: "button" });
    every.addEventListener("click", () => apply([]));
    row.append(every);
  }
  box.append(make("p", mine.said), pair, row);
  return box;
}

async function apply(refuse) {
  try {
    await toil(place(), "Changing the notes…", async (signal) => {
      tell("rewritten", await (await post("/api/apply", question({ refuse, keep: !page.score.private }), signal)).json());
    });
  } catch (error) { if (error instanceof Refused) stuck(place(), error); else failed(error); }
}

/** The attachment's slide pulled down a semitone, where that brings the note. */
function pullsOf(known, index) {
  const pull = known.flatMap(({ remedies }) => remedies).find(({ kind }) => kind === "tune");
  if (!pull) return [];
  const box = make("section", "", { class: "finding", "aria-label": "Another slide" }), button = make("button", `Pull the attachment ${pull.tune_cents > 100 ? "a little past" : "to"} E`, { type: "button" });
  button.addEventListener("click", () => pulled(index));
  box.append(make("p", `${pull.text.replace(/^Or p/, "P")} Every note on the attachment then lies elsewhere; the marks show where.`), button);
  return [box];
}

async function pulled(index) {
  try {
    const found = await toil(place(), "Pulling the slide…", async (signal) => (await post("/api/horns/pulled",
      { horn: page.answer.horn, midi: page.answer.notes[index].midi, keep: !(page.private || page.score.private) }, signal)).json());
    tell("own-horns", found.own);
    change({ horn: found.name }, "The attachment is pulled.");
  } catch (error) { if (error instanceof Refused) stuck(place(), error); else failed(error); }
}

/** Horns that have it. */
function hornsOf(known) {
  const names = new Set(known.flatMap(({ remedies }) => remedies.flatMap(({ horns }) => horns ?? [])));
  const there = page.start.horns.filter(({ name }) => names.has(name) && name !== page.answer.horn);
  if (!there.length) return [];
  const box = make("section", "", { class: "finding", "aria-label": "Another horn" }), row = make("p", "", { class: "row" });
  row.append(...there.map(({ name, description }) => {
    const button = make("button", `Use the ${description[0].toLowerCase()}${description.slice(1)}`, { type: "button" });
    button.addEventListener("click", () => change({ horn: name }, "Another horn."));
    return button;
  }));
  box.append(make("p", "Another horn has it."), row);
  return [box];
}

on("pull", pulled);
on("chosen", show);
on("answer", () => { if (page.chosen !== null) show(page.chosen); });
