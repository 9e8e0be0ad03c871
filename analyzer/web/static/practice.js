// Practicing: a sheet of drills made from the hard moves of a part, and a recording held against its plan.

import { ask, on, page, post, question, savedAs, tell } from "./state.js";
import { blocksOf, care } from "./blocks.js";
import { picture } from "./music.js";
import { $, Refused, headline, listOf, make, say } from "./pieces.js";
import { stuck, toil, toldBy } from "./toil.js";
import { VIEWS, go } from "./views.js";

const toilOf = (view) => $(`view-${view}`).querySelector(".toil");

function button(name, act, more = {}) {
  const found = make("button", name, { type: "button", ...more });
  found.addEventListener("click", () => act(found));
  return found;
}

// --- the practice sheet -------------------------------------------------------------------------------------------

let seed = 1;
const sheetAsked = () => ({ pins: [], seed, weeks: $("drill-weeks").value ? Number($("drill-weeks").value) : null, paper: $("drill-paper").value });

async function showDrill(signal, current) {
  const asked = sheetAsked(), found = await ask("/api/practice/sheet", signal, asked);
  if (!current()) return;
  $("drill-other").textContent = seed === 1 ? "Other patterns" : `Other patterns (these are no. ${seed})`;
  const [about, ...rest] = found.blocks, verdict = make("p", "", { class: "verdict" });
  const counted = `${found.exercises} ${found.exercises === 1 ? "exercise" : "exercises"} from the hard moves of ${about.text}.`;
  headline(verdict, found.of > 1 ? `${counted} It is for player ${found.line} of ${found.of}, whose moves are the hardest.` : counted);
  const file = (name, ending) => button(name, (it) => savedAs(it, () => post("/api/practice/sheet", question({ ...sheetAsked(), ending, start: $("drill-start").value, drone: $("drill-drone").value }))));
  const files = make("p", "", { class: "row" });
  files.append(file("Print", ".pdf"), file("For a notation program", ".musicxml"), file("To hear it (MIDI)", ".mid"), file("Its reference tones", ".wav"));
  if (asked.weeks) files.append(file("Calendar", ".ics"));
  files.append(button("For the phone: the part that practices along", (it) => savedAs(it, () => post("/api/file", question({ ending: "take-home" })))));
  const problems = found.problems.length ? [make("h3", "About the file"), listOf("ul", found.problems)] : [];
  $("drilled").replaceChildren(verdict, files, ...blocksOf(rest), ...problems);
  const key = JSON.stringify(question(asked));
  if (showDrill.key !== key) { showDrill.key = key; $("drill-pages").replaceChildren(button("Show the sheet here", sheetHere)); }
}

/** The sheet as it is printed; to engrave it takes some seconds. */
async function sheetHere() {
  const key = showDrill.key;
  try {
    const found = await toil(toilOf("drill"), "Engraving the sheet…", async (signal) => (await post("/api/practice/sheet", question({ ...sheetAsked(), pages: true }), signal)).json());
    if (key !== showDrill.key) return;
    $("drill-pages").replaceChildren(make("h3", "The sheet"), ...found.pages.map((svg, nth) => {
      const frame = make("div", "", { class: "scroll drawn", tabindex: "0", role: "region", "aria-label": `Practice sheet, page ${nth + 1}` }), drawn = picture(svg);
      drawn.setAttribute("role", "img");
      drawn.setAttribute("aria-label", `Page ${nth + 1} of the practice sheet; its exercises are listed above`);
      apart(drawn, `drill-${nth}-`);
      frame.append(drawn);
      return frame;
    }));
  } catch (error) { stuck(toilOf("drill"), error); }
}

/** Ids of a picture beside others on this page get names of their own; what refers to them goes along. */
function apart(svg, prefix) {
  const names = new Set([...svg.querySelectorAll("[id]")].map(({ id }) => id));
  for (const named of svg.querySelectorAll("[id]")) named.id = `${prefix}${named.id}`;
  for (const use of svg.querySelectorAll("*")) {
    for (const name of ["href", "xlink:href", "aria-labelledby", "aria-describedby"]) {
      const value = use.getAttribute(name);
      if (!value) continue;
      if (name.endsWith("href") && value.startsWith("#") && names.has(value.slice(1))) use.setAttribute(name, `#${prefix}${value.slice(1)}`);
      else if (name.startsWith("aria")) use.removeAttribute(name);
    }
  }
}

function again() { if (page.view === "drill" && page.answer) VIEWS.drill.again(); }
VIEWS.drill = showDrill;
VIEWS.drill.again = () => tell("turned", "drill");
for (const id of ["drill-weeks", "drill-paper"]) $(id).addEventListener("change", again);
$("drill-other").addEventListener("click", () => { seed += 1; again(); });
on("opened", () => { seed = 1; showDrill.key = null; $("drilled").replaceChildren(); $("drill-pages").replaceChildren(); toilOf("drill").hidden = true; });

// --- a recording --------------------------------------------------------------------------------------------------

// What the program behind the page reads itself; another form is read by the browser, and made small.
const READ = /\.(wav|flac|ogg|oga|opus|mp3|aif|aiff)$/i, RATE = 22050, MOST_MINUTES = 12;
let context = null, playing = null, recorded = null;

/** The recording as sound in this browser, for playing along; null where the browser cannot read it. */
async function decoded(file) {
  context ??= new AudioContext();
  try { return await context.decodeAudioData(await file.arrayBuffer()); } catch { return null; }
}

/** One channel of a sound as a WAV file of 16 bit at a rate that suits low brass. */
async function asWav(sound) {
  const offline = new OfflineAudioContext(1, Math.max(1, Math.ceil(sound.duration * RATE)), RATE), source = offline.createBufferSource();
  source.buffer = sound;
  source.connect(offline.destination);
  source.start();
  const samples = (await offline.startRendering()).getChannelData(0), bytes = new DataView(new ArrayBuffer(44 + samples.length * 2));
  const text = (at, word) => [...word].forEach((sign, nth) => bytes.setUint8(at + nth, sign.charCodeAt(0)));
  text(0, "RIFF"); bytes.setUint32(4, 36 + samples.length * 2, true); text(8, "WAVEfmt ");
  bytes.setUint32(16, 16, true); bytes.setUint16(20, 1, true); bytes.setUint16(22, 1, true);
  bytes.setUint32(24, RATE, true); bytes.setUint32(28, RATE * 2, true); bytes.setUint16(32, 2, true); bytes.setUint16(34, 16, true);
  text(36, "data"); bytes.setUint32(40, samples.length * 2, true);
  samples.forEach((value, nth) => bytes.setInt16(44 + 2 * nth, Math.max(-1, Math.min(1, value)) * 32767, true));
  return new Blob([bytes.buffer]);
}

async function hear(file) {
  stopPlaying();
  recorded = { file, sound: null };
  const found = await toil(toilOf("hear"), `Reading ${file.name}…`, async (signal, show) => {
    const sound = recorded.sound = await decoded(file), limit = page.start.limit_mib * 2 ** 20 - 2 ** 20;
    let content = file, name = file.name;
    if (!READ.test(name) || file.size > limit) {
      if (!sound) throw new Refused(`${name}: this browser cannot read that form of sound. Export it as WAV, FLAC or MP3.`, 400);
      if (sound.duration > MOST_MINUTES * 60) throw new Refused(`${name} is ${Math.round(sound.duration / 60)} minutes long. Record the passage alone, ${MOST_MINUTES} minutes at most.`, 400);
      content = await asWav(sound);
      name = `${name.replace(/\.[^.]*$/, "")}.wav`;
    }
    const asked = question({ reference: $("hear-reference").value ? Number($("hear-reference").value) : null, width: wide() });
    const body = new Blob([`${JSON.stringify(asked)}\n`, content]);
    return toldBy("/api/practice/hear", { body, headers: { "Content-Type": "application/octet-stream", "X-File-Name": encodeURIComponent(name) }, signal },
      ({ doing, done, of }) => show(of ? `${doing}: ${done} %` : `${doing}…`, of ? done / of : null));
  });
  shownHeard(found);
}

const wide = () => Math.round(Math.max(340, $("view-hear").clientWidth - 20));

function shownHeard({ heard, totals, cautions, systems, about }) {
  const verdict = make("p", "", { class: "verdict", tabindex: "-1" }), right = totals.heard, all = heard.notes.length;
  headline(verdict, `${right} of ${all} notes as written. ${heard.said}`);
  const advice = make("ol", "", { class: "advice" });
  advice.append(...heard.advice.map(({ what, where, try: way }) => {
    const item = make("li");
    item.append(make("strong", what), ` ${where.length ? `(${where.length > 1 ? "measures" : "measure"} ${where.slice(0, 8).join(", ")}${where.length > 8 ? " and more" : ""})` : ""} `, make("span", way));
    return item;
  }));
  const figures = systems.map(({ svg, strip, places }, nth) => {
    const box = make("div", "", { class: "system-heard" }), line = picture(strip);
    box.append(picture(svg), line);
    box.places = places;
    box.line = line;
    line.setAttribute("aria-label", `Line ${nth + 1}: deviation of the notes above; the same in words below`);
    return box;
  });
  const told = heard.notes.filter(({ said }) => said).map(({ said }) => said), words = make("details");
  words.append(make("summary", `Note by note, in words (${told.length})`), told.length ? listOf("ul", told) : make("p", "All is well."));
  const play = make("p", "", { class: "row hear-play" });
  if (recorded.sound) play.append(button("Play the recording", (it) => playRecording(it, heard.stays, figures), { id: "hear-play" }));
  play.append(button("Hear it again, as the settings are now", () => hear(recorded.file).catch((error) => stuck(toilOf("hear"), error))));
  $("heard").replaceChildren(verdict, ...(heard.supposed ? [make("p", heard.supposed, { class: "small" })] : []), ...(heard.well.length ? [make("h3", "What went well"), listOf("ul", heard.well)] : []),
    make("h3", heard.advice.length ? "To work on" : "Nothing stands out that needs work"), ...(heard.advice.length ? [advice] : []),
    make("h3", "The part, as it was heard"), make("p", about, { class: "small" }), play, ...figures, words,
    ...(heard.problems.length ? [make("h3", "About the recording"), listOf("ul", heard.problems)] : []), care(cautions));
  $("heard").figures = figures;
  verdict.focus();
}

/** The recording sounds, and a light goes along below the notes. */
async function playRecording(it, stays, figures) {
  if (playing) { stopPlaying(); return; }
  await context.resume();
  const source = context.createBufferSource(), begun = context.currentTime + 0.05;
  source.buffer = recorded.sound;
  source.connect(context.destination);
  source.start(begun);
  playing = { source, it };
  it.textContent = "Stop";
  source.addEventListener("ended", () => { if (playing?.source === source) stopPlaying(); });
  let lit = null;
  const frame = () => {
    if (playing?.source !== source) return;
    const at = context.currentTime - begun, stay = stays.find(({ start_s: from, end_s: to }) => from <= at && at < to);
    if ((stay?.index ?? null) !== lit) { lit = stay?.index ?? null; light(figures, lit); }
    requestAnimationFrame(frame);
  };
  frame();
}

function light(figures, index) {
  for (const { line } of figures) line.querySelector(".cursor")?.remove();
  const box = index === null ? null : figures.find(({ places }) => String(index) in places);
  if (!box) return;
  const rect = document.createElementNS("http://www.w3.org/2000/svg", "rect"), { height } = box.line.viewBox.baseVal;
  for (const [name, value] of Object.entries({ class: "cursor", x: box.places[index] - 9, y: 0, width: 18, height })) rect.setAttribute(name, value);
  box.line.prepend(rect);
  const { top, bottom } = box.getBoundingClientRect();
  if (top < 60 || bottom > window.innerHeight) box.scrollIntoView({ block: "center" });
}

function stopPlaying() {
  if (!playing) return;
  const { source, it } = playing;
  playing = null;
  try { source.stop(); } catch { /* it has ended */ }
  it.textContent = "Play the recording";
  light($("heard").figures ?? [], null);
}

VIEWS.hear = () => {};
function take(files) {
  if (files.length !== 1) { stuck(toilOf("hear"), new Refused("Open one recording at a time.", 400)); return; }
  hear(files[0]).catch((error) => stuck(toilOf("hear"), error));
}
$("hear-file").addEventListener("change", (event) => { const files = [...event.target.files]; event.target.value = ""; if (files.length) take(files); });
on("recording", (files) => take([...files]));
$("hear-along").addEventListener("click", () => {
  go("marks");
  $("listen").open = true;
  $("play-clicks").checked = $("play-count").checked = true;
  $("play-hear").value = "nothing";
  say("Press Play: one measure is counted in, then the metronome goes along. No notes sound: you play them.");
  $("play").focus();
});
on("stop", stopPlaying);
on("opened", () => { recorded = null; stopPlaying(); $("heard").replaceChildren(); toilOf("hear").hidden = true; });
