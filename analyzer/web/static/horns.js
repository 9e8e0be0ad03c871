// Horns without a score, or beside one: every note of a horn, what a change of horn brings, and horns of one's own.

import { failed, keepDesk, on, page, post, savedAs, tell } from "./state.js";
import { blocksOf, care, tableFrom } from "./blocks.js";
import { picture } from "./music.js";
import { fillPlayers, playerIn } from "./people.js";
import { $, Refused, call, make, say } from "./pieces.js";
import { PAPERS, paper, papers } from "./print-paper.js";
import { stuck, toil } from "./toil.js";
import { VIEWS } from "./views.js";

const toilOf = (view) => $(`view-${view}`).querySelector(".toil");
const asked = async (path, body, signal) => (await post(path, body, signal)).json();
const wide = () => Math.round(Math.max(300, $("desk").clientWidth));

/** Fill every list of horns: one's own first. */
export function fillHorns() {
  for (const select of document.querySelectorAll("select[data-horns]")) {
    const before = select.value, own = page.start.horns.filter((horn) => horn.own), rest = page.start.horns.filter((horn) => !horn.own);
    const options = (horns) => horns.map(({ name, description }) => make("option", description, { value: name }));
    const group = (label, horns) => { const found = make("optgroup", "", { label }); found.append(...options(horns)); return found; };
    const none = select.dataset.horns ? [make("option", select.dataset.horns, { value: "" })] : [];
    select.replaceChildren(...none, ...(own.length ? [group("My own", own), group("All horns", rest)] : options(rest)));
    select.value = [...select.options].some(({ value }) => value === before) ? before : "";
  }
}
const ensure = (id, name) => { if (!$(id).value) $(id).value = name; };

/** A drawing in a frame that scrolls where a screen is narrower, with words for who does not see it. */
function framed(svg, label, least = 0) {
  const frame = make("div", "", { class: "scroll drawn", tabindex: "0", role: "region", "aria-label": label }), drawn = picture(svg);
  if (!drawn.getAttribute("role")) { drawn.setAttribute("role", "img"); drawn.setAttribute("aria-label", label); }
  if (least) drawn.style.minWidth = `${least}px`;
  frame.append(drawn);
  return frame;
}

/** A row of buttons that each make a file. */
function prints(...made) {
  const row = make("p", "", { class: "row" });
  row.append(...made.map(([name, path, body]) => {
    const button = make("button", name, { type: "button" });
    button.addEventListener("click", () => savedAs(button, () => post(path, body())));
    return button;
  }));
  return row;
}

// --- the chart ----------------------------------------------------------------------------------------------------

async function showChart() {
  ensure("chart-horn", page.answer?.horn ?? page.desk.horn ?? "tenor-f");
  const horn = $("chart-horn").value, key = `${horn} ${wide()} ${paper()}`;
  if (showChart.key === key) return;
  const found = await toil(toilOf("chart"), "Drawing the chart…", (signal) => asked("/api/horns/chart", { horn, width: wide() }, signal));
  showChart.key = key;
  keepDesk({ horn });
  const pdf = (more) => ["/api/horns/chart", () => ({ horn, ...more })];
  const sheets = found.sheets.map(({ svg, label }) => framed(svg, label)), [first, other] = papers();
  $("charted").replaceChildren(make("p", found.said, { class: "small" }),
    prints([`Print for the wall (${PAPERS[first]})`, ...pdf({ paper: first })], ["A3", ...pdf({ paper: "a3" })], [PAPERS[other], ...pdf({ paper: other })], [`Large print (${PAPERS[first]})`, ...pdf({ paper: first, large: true })]),
    ...(sheets.length ? [make("h3", "On the staff"), ...sheets] : []),
    make("h3", found.family === "slide" ? "Along the slide" : "By tuning"), framed(found.picture, "Chart as a picture", 640),
    make("h3", "Every choice"), tableFrom(found.heads, found.rows, { caption: found.description }));
}

// --- a change of horn ---------------------------------------------------------------------------------------------

async function showChange() {
  fillPlayers();
  if (!$("change-before").value) { $("change-before").value = "tenor"; $("change-after").value = "tenor-f"; }
  const body = { before: $("change-before").value, after: $("change-after").value, player: playerIn($("change-player")), ...(page.score ? { session: page.score.session } : {}) };
  const key = JSON.stringify(body);
  if (showChange.key === key) return;
  $("changed-horn").classList.add("old");
  const found = await toil(toilOf("change"), "Comparing the two horns…", (signal) => asked("/api/horns/change", { ...body, width: wide() }, signal));
  showChange.key = key;
  $("changed-horn").classList.remove("old");
  const printed = (what, more) => ["/api/horns/change", () => ({ ...body, print: what, paper: paper(), ...more })], [first, other] = papers();
  const lesson = make("button", "Make a course of weeks of it", { type: "button" });
  lesson.addEventListener("click", () => tell("course", body.before, body.after));
  const files = prints(["Print the sheet for the talk", ...printed("aid")], ...(found.picture ? [[`Print what moves, for the wall (${PAPERS[first]})`, ...printed("chart")], ["A3", ...printed("chart", { paper: "a3" })], [PAPERS[other], ...printed("chart", { paper: other })]] : []));
  files.append(lesson);
  const about = found.music ? `With the notes of ${found.music}.` : found.left_out;
  $("changed-horn").replaceChildren(make("p", about, { class: "small" }), files, ...blocksOf(found.aid.filter(({ kind }) => kind !== "cautions")),
    ...(found.picture ? [make("h3", "What stays and what moves"), ...found.sheets.map(({ svg, label }) => framed(svg, label)), framed(found.picture, "The change as a picture", 640)] : []),
    ...moves(found.moves), ...found.aid.filter(({ kind }) => kind === "cautions").map(({ lines }) => care(lines)));
}

function moves(blocks) {
  if (!blocks.length) return [];
  const fold = make("details");
  fold.append(make("summary", "In numbers, place by place and note by note"), ...blocksOf(blocks.filter(({ kind, set_in: under }) => kind !== "cautions" && !under)));
  return [fold];
}

// --- horns of one's own -------------------------------------------------------------------------------------------

let table = null;         // a table that was opened: {text, name}
let gone = null;          // the horn forgotten last: {name, profile}

async function showOwn() {
  ensure("own-like", page.answer?.horn && !page.start.horns.find(({ name }) => name === page.answer.horn)?.own ? page.answer.horn : "tenor-f");
  fillOwn();
  const horn = $("own-like").value;
  if (showOwn.horn === horn) return;
  showOwn.horn = horn;
  const { columns, rows } = await asked("/api/horns/sheet", { horn });
  const draft = page.desk.tuner?.horn === horn ? page.desk.tuner.shown : {};
  fillRows(columns, rows, draft);
}

/** A row for each note: what is held, how far out by measure on a slide, what the tuner shows. */
function fillRows(columns, rows, draft) {
  showOwn.columns = columns;
  const slide = columns.includes("mm");
  $("own-rows").replaceChildren(...rows.map((cells, nth) => {
    const [note, held, place] = cells, row = make("p", "", { class: "reading", "data-note": note, "data-held": held });
    const name = `${note.replace("#", "♯").replace(/b(?=\d)/, "♭")} ${slide ? `in ${held}` : `with ${held}`}`;
    row.append(make("span", name));
    if (slide && place === "") row.append(numberField(nth, "mm", `${name}: slide out, mm`, draft, 0, 1200));
    row.append(numberField(nth, "cents", `${name}: cents`, draft, -100, 100));
    return row;
  }));
}

function numberField(nth, kind, label, draft, min, max) {
  const box = make("label", "", {}), input = make("input", "", { type: "number", step: "any", min, max, "data-kind": kind, id: `reading-${nth}-${kind}`, "aria-label": label });
  input.value = draft[`${nth}-${kind}`] ?? "";
  input.addEventListener("input", () => {
    input.removeAttribute("aria-invalid");
    const shown = Object.fromEntries([...$("own-rows").querySelectorAll("input")].filter(({ value }) => value !== "").map((one) => [one.id.slice(8), one.value]));
    table = null;
    keepDesk({ tuner: { horn: $("own-like").value, shown } });
  });
  box.append(input, ` ${kind}`);
  return box;
}

/** What is typed, as the table that the reader of readings knows; the first row is its line 2. */
function typed() {
  const lines = [...$("own-rows").querySelectorAll(".reading")].map((row) => {
    const at = (kind) => row.querySelector(`[data-kind=${kind}]`)?.value ?? "";
    const cells = { note: row.dataset.note, position: row.dataset.held, valves: row.dataset.held, mm: at("mm"), cents: at("cents") };
    return showOwn.columns.map((column) => cells[column]).join(",");
  });
  return [showOwn.columns.join(","), ...lines].join("\n");
}

async function fitOwn() {
  const horn = $("own-like").value, given = table ?? { text: typed(), name: "the notes above" };
  if (!table && ![...$("own-rows").querySelectorAll("[data-kind=cents]")].some(({ value }) => value !== "")) {
    $("own-fold").open = true;
    $("own-rows").querySelector("input")?.focus();
    throw new Refused("Write what the tuner shows for some of the notes first, or open a filled-in table.", 400);
  }
  const name = `my-${horn}`;
  const found = await toil(toilOf("own"), "Finding your horn from the readings…", (signal) => asked("/api/horns/fit", { horn, table: given.text, file: given.name, name }, signal));
  const field = make("input", "", { id: "own-name", maxlength: "40", size: "18" }), label = make("label", "Its name", { for: "own-name" });
  field.value = name;
  const keepIt = make("button", page.private ? "Use it until this page is closed" : "Keep this horn", { type: "button", class: "strong" });
  const profile = () => found.profile.replace(/^name = .*$/m, `name = ${JSON.stringify(field.value.trim().replace(/[^\p{L}\p{N}_.+-]+/gu, "-").replace(/^-+|-+$/g, "") || name)}`);
  keepIt.addEventListener("click", () => keep(profile(), "the horn").catch(failed));
  const row = make("p", "", { class: "row named" });
  row.append(label, field, keepIt);
  $("own-found").replaceChildren(make("h3", "Your horn beside the usual one", { tabindex: "-1", id: "own-head" }), ...blocksOf(found.blocks), ...(found.passed_over ? [make("p", found.passed_over, { class: "small" })] : []), row, care(found.cautions));
  $("own-head").focus();
}

async function keep(profile, file) {
  const found = await asked("/api/horns/keep", { profile, file, keep: !page.private });
  gone = null;
  known(found.own);
  say(`${found.name} is among the horns now.`);
}

function known(own) {
  page.start.horns = [...own, ...page.start.horns.filter((horn) => !horn.own)];
  showChart.key = showChange.key = null;
  fillHorns();
  tell("horns");
  fillOwn();
}

function fillOwn() {
  const own = page.start.horns.filter((horn) => horn.own), list = make("ul", "", { class: "kept-horns" });
  list.append(...own.map(({ name, description }) => {
    const item = make("li"), row = make("span", "", { class: "row" });
    for (const [said, act] of [["Its chart", () => { $("chart-horn").value = name; tell("go", "chart"); }],
      ["Save as a file", (event) => savedAs(event.target, () => post("/api/horns/write", { name }))], ["Forget", () => forget(name).catch(failed)]]) {
      const button = make("button", said, { type: "button", "aria-label": `${said}: ${name}` });
      button.addEventListener("click", act);
      row.append(button);
    }
    item.append(make("span", description), row);
    return item;
  }));
  const back = make("button", `Undo: forget ${gone?.name}`, { type: "button" });
  back.addEventListener("click", () => keep(gone.profile, gone.name).catch(failed));
  $("own-kept").replaceChildren(...(own.length ? [make("h3", "On this computer"), list] : [make("p", "There is none here yet.")]), ...(gone ? [back] : []));
}

async function forget(name) {
  const profile = await (await post("/api/horns/write", { name })).text();
  const found = await asked("/api/horns/forget", { name });
  gone = { name, profile };
  known(found.own);
  say(`${name} is forgotten.`);
}

/** What is wrong in a typed row is said with its note, not with a line. */
function wrong(error) {
  const line = /line (\d+)/.exec(error.message ?? "")?.[1], row = table || !line ? null : $("own-rows").children[Number(line) - 2];
  if (!row) { stuck(toilOf("own"), error); return; }
  const input = row.querySelector("[data-kind=cents]");
  input.setAttribute("aria-invalid", "true");
  $("own-fold").open = true;
  input.focus();
  stuck(toilOf("own"), new Refused(error.message.replace(/^.*?line \d+/, row.querySelector("span").textContent), 400));
}

for (const [view, show] of Object.entries({ chart: showChart, change: showChange, own: showOwn })) VIEWS[view] = () => show().catch((error) => stuck(toilOf(view), error));
for (const [view, ids] of [["chart", ["chart-horn"]], ["change", ["change-before", "change-after", "change-player"]], ["own", ["own-like"]]]) {
  for (const id of ids) $(id).addEventListener("change", () => VIEWS[view]());
}
$("own-fit").addEventListener("click", () => fitOwn().catch(wrong));
$("own-form").addEventListener("submit", (event) => { event.preventDefault(); fitOwn().catch(wrong); });
$("own-table").addEventListener("click", () => savedAs($("own-table"), () => post("/api/horns/sheet", { horn: $("own-like").value, file: true })));
$("own-csv").addEventListener("change", async (event) => {
  const file = event.target.files[0];
  event.target.value = "";
  if (!file) return;
  table = { text: await file.text(), name: file.name };
  $("own-fold").open = false;
  fitOwn().catch(wrong);
});
$("own-file").addEventListener("change", async (event) => {
  const file = event.target.files[0];
  event.target.value = "";
  if (file) keep(await file.text(), file.name).catch(failed);
});
for (const form of document.querySelectorAll(".asking")) form.addEventListener("submit", (event) => event.preventDefault());
on("started", fillHorns);
on("paper", () => { showChange.key = null; if (page.view === "chart" || page.view === "change") VIEWS[page.view](); });
on("own-horns", known);
on("forgotten", async () => {
  gone = table = null;
  showOwn.horn = null;
  // What was forgotten may have been put back.
  try { known((await (await call("/api/start")).json()).horns.filter((horn) => horn.own)); } catch (error) { failed(error); }
});
