// A folder of scores: what is in it, music that suits, a course of weeks. The folder lies on this computer, or its files
// are chosen; they stay here.

import { keepDesk, on, page, post, savedAs, tell } from "./state.js";
import { blocksOf, care } from "./blocks.js";
import { fillPlayers, hasSection, hornIn, playerIn } from "./people.js";
import { $, Refused, call, headline, listOf, make, say } from "./pieces.js";
import { fillPaper, paper } from "./print-paper.js";
import { stuck, toil, told } from "./toil.js";
import { VIEWS, go } from "./views.js";

const LIBRARY = ["survey", "search", "course"], UPLOADS = 2;
const toilOf = (view) => $(`view-${view}`).querySelector(".toil");
let chosen = 0;           // how many files were chosen in place of a folder

const folderOf = () => (chosen ? "" : $("folder").value.trim());

/** Say what work is at, and how far. */
function said({ doing, done, of, name }, show) {
  show(of === null ? `${doing}…${done ? ` ${done} files` : ""}${name ? ` ${name}` : ""}` : `${doing}: ${done} of ${of}. ${name}`, of ? done / of : null);
}

/** Look through the folder for one tool; gives the answer. */
function looked(view, body) {
  if (!chosen && !folderOf() && view !== "course") {
    $("folder").focus();
    throw new Refused("Write where your scores lie on this computer, or choose the files.", 400);
  }
  keepDesk({ folder: $("folder").value.trim() });
  return toil(toilOf(view), "Looking through the folder…", (signal, show) =>
    told(`/api/library/${view}`, { folder: folderOf(), ...body }, signal, (step) => said(step, show)));
}

function fileButton(name, held, more) {
  const button = make("button", name, { type: "button" });
  button.addEventListener("click", () => savedAs(button, () => post("/api/library/file", { held, paper: paper(), ...more })));
  return button;
}

function row(...buttons) {
  const found = make("p", "", { class: "row" });
  found.append(...buttons);
  return found;
}

/** The answer stands in its place, and is what the keyboard is at. */
function answered(place, verdict, ...rest) {
  const head = make("p", "", { class: "verdict", tabindex: "-1" });
  headline(head, verdict);
  place.replaceChildren(head, ...rest);
  place.classList.remove("old");
  head.focus();
}

// --- what is in it ------------------------------------------------------------------------------------------------

async function survey() {
  const section = $("survey-section").checked && hasSection() ? { section: page.desk.section } : {};
  const found = await looked("survey", { ...section, bass_clef: $("survey-bass").checked, player: {} });
  answered($("surveyed"), found.said, ...(found.lines ? [row(fileButton("Page with pictures", found.held, { ending: ".html" }), fileButton("Print", found.held, { ending: ".pdf" }), fileButton("Table for a spreadsheet", found.held, { ending: ".csv" }))] : []), ...blocksOf(found.blocks));
}

// --- music that suits ---------------------------------------------------------------------------------------------

async function search() {
  const whole = $("search-for").value === "section";
  const body = whole ? { section: page.desk.section, player: {} } : { player: playerIn($("search-player")), horn: $("search-horn").value };
  const found = await looked("search", { ...body, bass_clef: $("search-bass").checked, most: Number($("search-most").value) });
  const blocks = found.blocks.filter(({ kind }) => kind !== "title"), [first, ...rest] = blocks;
  const parts = blocksOf(rest);
  // The rows are numbered in the order of the files that they come from.
  for (const cell of parts.flatMap((part) => [...part.querySelectorAll?.("tbody tr") ?? []])) {
    const row_ = found.files[Number(cell.firstElementChild.textContent) - 1];
    if (!row_) continue;
    const button = make("button", "Open", { type: "button", "aria-label": `Open: ${cell.children[1].textContent}` }), last = make("td");
    button.addEventListener("click", () => tell("library-score", { held: found.held, ...row_ }));
    last.append(button);
    cell.append(last);
  }
  for (const head of parts.flatMap((part) => [...part.querySelectorAll?.("thead tr") ?? []])) head.append(make("td"));
  answered($("searched"), first.text, ...(found.found ? [row(fileButton("Print", found.held, { most: Number($("search-most").value) }))] : []), ...parts);
}

// --- a course -----------------------------------------------------------------------------------------------------

async function course() {
  const weeks = $("course-weeks").value;
  const found = await looked("course", { before: $("course-before").value, after: $("course-after").value, player: playerIn($("course-player")), clef: $("course-clef").value, weeks: weeks === "" ? null : Number(weeks), open_sheets: $("course-open").checked });
  const blocks = found.blocks.filter(({ kind }) => kind !== "title"), [first, ...rest] = blocks;
  const make_ = make("button", "Make the sheets", { type: "button", class: "strong" }), place = make("div", "", { class: "toil" }), out = make("div");
  place.hidden = true;
  make_.addEventListener("click", () => sheets(found.held, place, out).catch((error) => stuck(place, error)));
  const choices = make("div", "", { class: "row fields-row" });
  const start = field("First day, for a calendar", make("input", "", { type: "date", id: "course-start" })), phone = make("div", "", { class: "field check" });
  phone.append(make("label"));
  phone.firstChild.append(make("input", "", { type: "checkbox", id: "course-phone" }), " A page for the phone, too");
  const papers = make("select", "", { id: "course-paper", "data-paper": "" });
  fillPaper(papers);
  choices.append(start, field("Paper", papers), phone);
  const problems = found.problems.length ? [make("h3", "About the files"), listOf("ul", found.problems)] : [];
  answered($("coursed"), first.text, ...(found.weeks ? [make("h3", "To print"), choices, row(make_), place, out] : []), ...blocksOf(rest.filter(({ kind }) => kind !== "cautions")), ...problems, ...rest.filter(({ kind }) => kind === "cautions").map(({ lines }) => care(lines)));
}

function field(label, input) {
  const box = make("div", "", { class: "field" });
  box.append(make("label", label, { for: input.id }), input);
  return box;
}

async function sheets(held, place, out) {
  const body = { held, paper: $("course-paper").value, start: $("course-start").value, phone: $("course-phone").checked };
  const found = await toil(place, "Making the sheets…", (signal, show) => told("/api/library/sheets", body, signal, (step) => said(step, show)));
  out.replaceChildren(row(fileButton(`Save all ${found.files.length} sheets (zip)`, found.held, {})), ...(found.problems.length ? [listOf("ul", found.problems)] : []));
  out.querySelector("button").focus();
  say("The sheets are made.");
}

/** A change of horn was looked at: its course is wanted. */
on("course", (before, after) => {
  go("course");
  $("course-before").value = before;
  $("course-after").value = after;
});

// --- the folder ---------------------------------------------------------------------------------------------------

/** The folder stands in whichever of the three views is shown. */
function show(view) {
  $(`view-${view}`).querySelector(".folder-here").append($("folder-form"));
  fillPlayers();
  $("survey-section").disabled = !hasSection();
  if (!hasSection()) $("survey-section").checked = false;
  $("search-section").disabled = !hasSection();
  if (!hasSection() && $("search-for").value === "section") $("search-for").value = "player";
  forWhom();
  for (const [id, name] of [["course-before", "tenor"], ["course-after", "tenor-f"]]) if (!$(id).value) $(id).value = name;
}

function forWhom() { for (const one of $("view-search").querySelectorAll(".for-player")) one.hidden = $("search-for").value === "section"; }

/** Files in place of a folder: they are sent one after the other, and lie here until the page is closed. */
async function choose(files) {
  const view = page.view, all = [...files];
  chosen = 0;
  await post("/api/library/begin", {});
  const left = [];
  await toil(toilOf(view), `Taking ${all.length} files…`, async (signal, show) => {
    const waiting = [...all];
    const one = async () => {
      for (let file = waiting.shift(); file; file = waiting.shift()) {
        try {
          await call("/api/library/add", { method: "POST", body: file, signal, headers: { "X-File-Name": encodeURIComponent(file.name), "Content-Type": "application/octet-stream" } });
          chosen += 1;
        } catch (error) {
          if (!(error instanceof Refused) || error.status !== 413) throw error;
          left.push(`${file.name}: ${error.message}`);
        }
        show(`Taking the files: ${chosen} of ${all.length}. ${file.name}`, chosen / all.length);
      }
    };
    await Promise.all(Array.from({ length: UPLOADS }, one));
  }).catch((error) => { chosen = 0; filesSaid(); throw error; });
  filesSaid(left);
}

function filesSaid(left = []) {
  $("folder-files").hidden = !chosen;
  $("folder-files").querySelector("span").textContent = `${chosen} ${chosen === 1 ? "file is" : "files are"} chosen in place of a folder. ${left.join(" ")}`;
  $("folder").disabled = Boolean(chosen);
}

for (const view of LIBRARY) VIEWS[view] = () => show(view);
for (const [view, act] of [["survey", survey], ["search", search], ["course", course]]) {
  $(`${view}-go`).addEventListener("click", () => {
    $({ survey: "surveyed", search: "searched", course: "coursed" }[view]).classList.add("old");
    (async () => act())().catch((error) => stuck(toilOf(view), error));
  });
}
$("folder-form").addEventListener("submit", (event) => { event.preventDefault(); $(`${page.view}-go`).click(); });
for (const id of ["folder-choose", "folder-whole"]) {
  $(id).addEventListener("change", (event) => {
    const files = [...event.target.files];
    event.target.value = "";
    if (files.length) choose(files).catch((error) => stuck(toilOf(page.view), error));
  });
}
$("folder-back").addEventListener("click", () => { chosen = 0; filesSaid(); $("folder").focus(); });
$("search-for").addEventListener("change", forWhom);
$("search-player").addEventListener("change", () => { const horn = hornIn($("search-player")); if (horn) $("search-horn").value = horn; });
$("course-player").addEventListener("change", () => { const horn = hornIn($("course-player")); if (horn) $("course-before").value = horn; });
on("started", () => { $("folder").value = page.desk.folder ?? ""; });
on("forgotten", () => {
  $("folder").value = "";
  chosen = 0;
  filesSaid();
  for (const id of ["surveyed", "searched", "coursed"]) $(id).replaceChildren();
});
on("horns", () => { for (const id of ["course-before", "course-after"]) if (!$(id).value) $(id).value = "tenor"; });
