// A recording held against the plan: one player's, or a class with a table for the teacher; printed, kept, played along.

import { ask, on, page, post, question, savedAs } from "./state.js";
import { care, tableFrom } from "./blocks.js";
import { picture } from "./music.js";
import { $, Refused, headline, listOf, make, say } from "./pieces.js";
import { Playback, SOUND, asPlayed, awake, readable } from "./recording.js";
import { stuck, toil, toldBy } from "./toil.js";
import { VIEWS, go } from "./views.js";

const HEADS = ["Recording", "Right notes", "Typically off, cents", "First thing to work on"];
const place = $("view-hear").querySelector(".toil"), failed = (error) => stuck(place, error);
let playing = null, diary = { name: "", text: "" };

function button(name, act, more = {}) {
  const found = make("button", name, { type: "button", ...more });
  found.addEventListener("click", () => act(found));
  return found;
}

const wide = () => Math.round(Math.max(340, $("view-hear").clientWidth - 20));

/** Hear one recording; gives what the page behind says of it, with the sound to play along (null where it cannot be read). */
async function heardOf(file, signal, show) {
  const { content, name, sound } = await readable(file, page.start.limit_mib * 2 ** 20 - 2 ** 20);
  const asked = question({ reference: $("hear-reference").value ? Number($("hear-reference").value) : null, width: wide() });
  const body = new Blob([`${JSON.stringify(asked)}\n`, content]);
  const found = await toldBy("/api/practice/hear", { body, headers: { "Content-Type": "application/octet-stream", "X-File-Name": encodeURIComponent(name) }, signal },
    ({ doing, done, of }) => show(of ? `${doing}: ${done} %` : `${doing}…`, of ? done / of : null));
  const line = await ask("/api/sound", signal).catch(() => null);
  return { ...found, file, sound, line };
}

async function hear(file) {
  stopPlaying();
  const found = await toil(place, `Reading ${file.name}…`, (signal, show) => heardOf(file, signal, show));
  shown($("heard"), found);
}

/** A class: one after the other; a row each as soon as it is heard, the table first, one player's page below it. */
async function hearClass(files) {
  stopPlaying();
  const students = [], body = make("div", "", { id: "hear-one" }), head = make("p", "", { class: "verdict", tabindex: "-1" }), together = make("p", "", { class: "strongly" });
  const table = (done) => {
    headline(head, `${students.filter(({ found }) => found).length} of ${files.length} recordings heard. ${done ? "Choose a name for that player's page." : "The others follow."}`);
    $("heard").replaceChildren(head, classTable(students, body), together, ...(done && students.some(({ found }) => found) ? [files_(students.map(({ found, file, why }) => (found ? { held: found.held } : { file: file.name, why })), "Print: the table, then a page each")] : []),
      make("p", "A recording is not a grade: microphone, room and nerves are heard, too. The teacher who listens decides. Nothing of a recording is kept or sent.", { class: "small" }), body);
  };
  await toil(place, `Reading ${files.length} recordings…`, async (signal, show) => {
    for (const [nth, file] of files.entries()) {
      const said = `${nth + 1} of ${files.length}: ${file.name}`;
      show(said, nth / files.length);
      try {
        students.push({ file, found: await heardOf(file, signal, (text, share) => show(`${said}. ${text}`, (nth + (share ?? 0)) / files.length)) });
      } catch (error) {
        if (!(error instanceof Refused)) { table(true); throw error; }
        students.push({ file, why: error.message.replace(`${file.name}: `, "") });
      }
      table(false);
    }
  });
  const told = students.filter(({ found }) => found).map(({ found }) => ({ held: found.held }));
  if (told.length > 1) together.textContent = (await (await post("/api/practice/heard", question({ students: told, ending: "" }))).json()).together;
  table(true);
  head.focus();
}

function classTable(students, body) {
  const rows = students.map(({ file, found, why }) => (found ? found.row : [file.name, "–", "–", `Not heard: ${why}`]));
  const table = tableFrom(HEADS, rows, { caption: "The class", cards: true });
  table.querySelectorAll("tbody th").forEach((cell, nth) => {
    const { file, found } = students[nth];
    if (!found) return;
    cell.replaceChildren(button(file.name, () => { stopPlaying(); shown(body, found); }));
  });
  return table;
}

/** Everything that is heard of one recording. */
function shown(where, found) {
  const { heard, totals, cautions, systems, about } = found;
  const verdict = make("p", "", { class: "verdict", tabindex: "-1" }), right = totals.heard, all = heard.notes.length;
  headline(verdict, `${right} of ${all} notes as written. ${heard.said}`);
  const advice = make("ol", "", { class: "advice" });
  advice.append(...heard.advice.map(({ what, where: at, try: way }) => {
    const item = make("li");
    item.append(make("strong", what), ` ${at.length ? `(${at.length > 1 ? "measures" : "measure"} ${at.slice(0, 8).join(", ")}${at.length > 8 ? " and more" : ""})` : ""} `, make("span", way));
    return item;
  }));
  const figures = systems.map(({ svg, strip, places }, nth) => {
    const box = make("div", "", { class: "system-heard" }), line = picture(strip);
    box.append(picture(svg), line);
    Object.assign(box, { places, line });
    line.setAttribute("aria-label", `Line ${nth + 1}: deviation of the notes above; the same in words below`);
    return box;
  });
  const told = heard.notes.filter(({ said }) => said).map(({ said }) => said), words = make("details");
  words.append(make("summary", `Note by note, in words (${told.length})`), told.length ? listOf("ul", told) : make("p", "All is well."));
  const play = make("p", "", { class: "row hear-play" }), slide = document.createElementNS("http://www.w3.org/2000/svg", "svg"), figure = make("figure", "", { id: "hear-figure", hidden: "" });
  for (const [name, value] of Object.entries({ class: "slide", role: "img", "aria-label": "Slide or valves as they moved; a dashed line where the plan has the slide", preserveAspectRatio: "xMidYMid meet" })) slide.setAttribute(name, value);
  figure.append(slide);
  if (found.sound) play.append(button("Play the recording", (it) => playRecording(it, found, figures, figure), { id: "hear-play" }));
  play.append(button("Hear it again, as the settings are now", () => hear(found.file).catch(failed)));
  where.replaceChildren(verdict, ...(heard.supposed ? [make("p", heard.supposed, { class: "small" })] : []), ...(heard.well.length ? [make("h3", "What went well"), listOf("ul", heard.well)] : []),
    make("h3", heard.advice.length ? "To work on" : "Nothing stands out that needs work"), ...(heard.advice.length ? [advice] : []),
    make("h3", "The part, as it was heard"), make("p", about, { class: "small" }), play, figure, ...figures, words,
    ...(heard.problems.length ? [make("h3", "About the recording"), listOf("ul", heard.problems)] : []), files_([{ held: found.held }], "Print"), keeping(found), care(cautions));
  verdict.focus();
}

function files_(students, print) {
  const row = make("p", "", { class: "row" });
  const file = (name, ending) => button(name, (it) => savedAs(it, () => post("/api/practice/heard", question({ students, ending })), failed));
  row.append(file(print, ".pdf"), file("Save as a page", ".html"));
  return row;
}

// --- kept in a player file ----------------------------------------------------------------------------------------

/** Numbers and the day of this recording go into a player file, beside those of before. */
function keeping(found) {
  const box = make("details", "", { class: "keeping" }), said = make("p", "", { class: "small", "aria-live": "polite" }), list = make("div");
  const open = make("label", "", { class: "button" }), input = make("input", "", { type: "file", accept: ".toml", "aria-label": "Open a player file" });
  const which = () => { said.textContent = diary.text ? `Into: ${diary.name}` : "No player file is open: a new one is begun."; };
  const keep = button("Keep it: save the player file", async () => {
    keep.disabled = true;
    try {
      const kept = await (await post("/api/practice/keep", question({ held: found.held, text: diary.text, name: diary.name || "player.toml" }))).json();
      diary = { name: diary.name || "player.toml", text: kept.text };
      save(diary.text, diary.name);
      which();
      list.replaceChildren(make("h4", "This passage so far"), ...(kept.said ? [make("p", kept.said)] : []), listOf("ul", kept.rows));
      keep.textContent = "It is kept";
    } catch (error) { keep.disabled = false; failed(error); }
  });
  input.addEventListener("change", async () => {
    const [file] = input.files;
    if (file) diary = { name: file.name, text: await file.text() };
    input.value = "";
    keep.disabled = false;
    keep.textContent = "Keep it: save the player file";
    which();
  });
  open.append(input, make("span", "Open a player file"));
  const row = make("p", "", { class: "row" });
  row.append(open, keep);
  box.append(make("summary", "Keep what it came to, and see how it goes on"), make("p", "Right notes, late moves, cents and the day are kept in the player's own file, which you save where you like; no sound.", { class: "small" }), row, said, list);
  which();
  return box;
}

/** A file made here, saved under a name. */
function save(text, name) {
  const link = make("a", "", { href: URL.createObjectURL(new Blob([text], { type: "application/toml" })), download: name });
  link.click();
  URL.revokeObjectURL(link.href);
}

// --- two notes in turn --------------------------------------------------------------------------------------------

/** What to play on this horn; with a recording of it, how fast the player moves, for the player file. */
async function pace(file) {
  const found = await toil(place, file ? `Reading ${file.name}…` : "Looking up what to play…", async (signal, show) => {
    const { content, name } = file ? await readable(file, page.start.limit_mib * 2 ** 20 - 2 ** 20) : { content: "", name: "" };
    const body = new Blob([`${JSON.stringify(question(diary))}\n`, content]);
    return toldBy("/api/practice/moves", { body, headers: { "Content-Type": "application/octet-stream", "X-File-Name": encodeURIComponent(name) }, signal }, ({ doing }) => show(`${doing}…`));
  });
  $("pace-sheet").replaceChildren(...found.sheet.map((line) => make("p", line.replace(/\s{2,}/, ", "), /^\d/.test(line) ? { class: "set-in" } : {})));
  if (!found.found) return;
  const { said, rows, cautions, text } = found.found, head = make("p", said, { class: "verdict", tabindex: "-1" });
  diary = { name: diary.name || "player.toml", text };
  $("pace-found").replaceChildren(head, listOf("ul", rows), button("Save the player file", () => save(diary.text, diary.name)), care(cautions));
  head.focus();
}

$("pace").addEventListener("toggle", () => { if ($("pace").open && page.answer) pace(null).catch(failed); });
$("pace-file").addEventListener("change", (event) => { const [file] = event.target.files; event.target.value = ""; if (file) pace(file).catch(failed); });

// --- played along -------------------------------------------------------------------------------------------------

/** The recording sounds; a light goes along below the notes, slide or valves move as they did. */
async function playRecording(it, found, figures, figure) {
  if (playing) { stopPlaying(); return; }
  await awake();
  const { stays } = found.heard;
  figure.hidden = !found.line;
  it.textContent = "Stop";
  let lit = null;
  playing = new Playback(found.sound, found.line && asPlayed(found.line, stays), figure.firstChild, {
    note: (at) => {
      const index = stays.find(({ start_s: from, end_s: to }) => from <= at && at < to)?.index ?? null;
      if (index !== lit) { lit = index; light(figures, lit); }
    },
    ended: () => {
      playing = null;
      it.textContent = "Play the recording";
      figure.hidden = true;
      light(figures, null);
    } });
}

function light(figures, index) {
  for (const { line } of figures) line.querySelector(".cursor")?.remove();
  const box = index === null ? null : figures.find(({ places }) => String(index) in places);
  if (!box) return;
  const rect = document.createElementNS("http://www.w3.org/2000/svg", "rect"), { height } = box.line.viewBox.baseVal;
  for (const [name, value] of Object.entries({ class: "cursor", x: box.places[index] - 9, y: 0, width: 18, height })) rect.setAttribute(name, value);
  box.line.prepend(rect);
  const { top, bottom } = box.getBoundingClientRect();
  if (top < 190 || bottom > window.innerHeight) box.scrollIntoView({ block: "center" });
}

function stopPlaying() { playing?.stop(); }

VIEWS.hear = () => {};
function take(files) { (files.length > 1 ? hearClass(files) : hear(files[0])).catch(failed); }
for (const id of ["hear-file", "hear-folder"]) {
  $(id).addEventListener("change", (event) => {
    const files = [...event.target.files].filter(({ name }) => id === "hear-file" || SOUND.test(name)).sort((a, b) => a.name.localeCompare(b.name));
    event.target.value = "";
    if (files.length) take(files); else failed(new Refused("There is no recording in this folder.", 400));
  });
}
on("recording", (files) => take([...files].sort((a, b) => a.name.localeCompare(b.name))));
$("hear-along").addEventListener("click", () => {
  go("marks");
  $("listen").open = true;
  $("play-clicks").checked = $("play-count").checked = true;
  $("play-hear").value = "nothing";
  say("Press Play: one measure is counted in, then the metronome goes along. No notes sound: you play them.");
  $("play").focus();
});
on("stop", stopPlaying);
