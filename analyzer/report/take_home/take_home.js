// The page itself: notes to tap, controls, what is played and heard. Everything it needs stands in the page.

import { Practice } from "./engine.js";
import { Kept } from "./kept.js";
import { Ladder } from "./ladder.js";
import { Microphone, advice, noMicrophone } from "./listening.js";
import { Sheet } from "./sheet.js";
import { Slide } from "./slide.js";
import { hertz, noteAt, passageOf } from "./sound.js";
import { Recorder, Tuner } from "./tuner.js";

const $ = (id) => document.getElementById(id);
const data = JSON.parse($("data").textContent);
const { notes } = data;
const calm = window.matchMedia("(prefers-reduced-motion: reduce)");
const slide = new Slide($("slide"));
const kept = new Kept(data.id, () => { $("unkept").hidden = false; });
let context = null, playing = null, chosen = 0, range = null, asking = null, lit = -1;

// --- the music --------------------------------------------------------------------------------------------------------

const byRef = new Map(notes.flatMap((note, index) => note.refs.map((ref) => [ref, index])));
const told = new Set();                  // notes whose mark was asked for while the marks are hidden
const sheet = new Sheet($("music"), (ref) => byRef.get(ref), (index, groups, marks) => {
  for (const group of groups) {
    group.setAttribute("role", "button");
    group.setAttribute("aria-label", notes[index].said);
    dress(index, group);
  }
  for (const mark of marks) mark.classList.toggle("told", told.has(index));
});

function dress(index, group) {
  group.setAttribute("tabindex", index === chosen ? "0" : "-1");
  group.classList.toggle("chosen", index === chosen);
  group.classList.toggle("sounds", index === lit);
  const ranged = range !== null && index >= range[0] && index <= range[1];
  if (ranged !== (group.firstElementChild?.classList.contains("band") ?? false)) banded(group, ranged);
}

/** A band behind a note tells that it belongs to the range. */
function banded(group, ranged) {
  if (!ranged) { group.firstElementChild.remove(); return; }
  const { x, y, width, height } = group.getBBox();
  const band = document.createElementNS("http://www.w3.org/2000/svg", "rect");
  for (const [name, value] of Object.entries({ class: "band", rx: 90, x: x - 110, y: y - 130, width: width + 220, height: height + 260 })) band.setAttribute(name, value);
  group.prepend(band);
}

function dressed(index) { for (const group of sheet.note(index).groups) dress(index, group); }

/** The music in the form that suits the screen and the print asked for. */
const broad = window.matchMedia("(min-width: 48rem), (min-width: 36rem) and (max-height: 35rem)");
function fitted() {
  const large = document.documentElement.classList.contains("large");
  return sheet.show(broad.matches ? (large ? "narrow" : "wide") : (large ? "large" : "narrow"));
}
broad.addEventListener("change", async () => { await fitted(); sheet.fill(); });

$("music").addEventListener("click", (event) => {
  const index = sheet.nearest(event.clientX, event.clientY);
  if (index !== null) tap(index);
});

function tap(index) {
  if (asking) { askRange(index); return; }
  tell("");
  take(index);
}

/** Choose a note: its name, place and reasons are told, and playing begins there. */
function take(index, focus = true) {
  const before = chosen;
  chosen = index;
  dressed(before);
  const { groups, marks } = sheet.brought(index);
  dressed(index);
  told.add(index);
  for (const mark of marks) mark.classList.add("told");
  $("note").textContent = notes[index].said;
  $("why").replaceChildren(...notes[index].why.map((text) => Object.assign(document.createElement("li"), { textContent: text })));
  if (!playing) {
    slide.show(notes[index].start_s, true);
    if (focus) groups[0]?.focus({ preventScroll: true });
    if (focus) inView(groups[0]);
  }
}

function inView(group) {
  if (!group) return;
  const box = group.getBoundingClientRect(), foot = $("bar").getBoundingClientRect().top;
  const behavior = calm.matches ? "auto" : "smooth";
  if (box.top < 70 || box.bottom > foot - 90) window.scrollBy({ top: box.top - 140, behavior });
  if (box.left < 20 || box.right > window.innerWidth - 40) sheet.sheet.scrollBy({ left: box.left - 60, behavior });
}

// --- passage and loop -------------------------------------------------------------------------------------------------

function askRange(index) {
  if (asking.first === undefined) { asking.first = index; tell("Now the last note."); return; }
  range = [Math.min(asking.first, index), Math.max(asking.first, index)];
  asking = null;
  $("loop").checked = true;
  showRange();
  restart();
}

function showRange() {
  notes.forEach((_, index) => dressed(index));
  $("choose").textContent = asking ? "Cancel" : range ? "Clear range" : "Range";
  $("choose").setAttribute("aria-pressed", String(asking !== null || range !== null));
  tell(asking ? "Tap the first note, or go there with the arrow keys and press Enter." : range === null ? "" :
    `From ${notes[range[0]].place}, ${notes[range[0]].name}, to ${notes[range[1]].place}, ${notes[range[1]].name}.`);
}

/** What just came of a button, where it is seen wherever the page stands. */
function tell(text) { $("told").textContent = text; }

$("choose").addEventListener("click", () => {
  if (asking || range) asking = range = null; else asking = {};
  showRange();
  restart();
});

function passage() {
  const [first, last] = range ?? [0, notes.length - 1];
  const found = passageOf(notes, first, last);
  const whole = range === null;
  const begin_s = whole ? Math.min(0, found.begin_s) : found.begin_s;
  const end_s = whole ? Math.max(data.end_s, found.begin_s + found.length_s) : found.begin_s + found.length_s;
  return { first, last, begin_s, end_s, length_s: Math.max(0.2, end_s - begin_s) };
}

// --- playing ----------------------------------------------------------------------------------------------------------

const tempo = $("tempo");
function rate() { return Number(tempo.value) / data.beat.bpm; }
function showTempo() {
  $("tempo-said").textContent = `${data.beat.said} = ${tempo.value} (${Math.round(rate() * 100)} %)`;
}
tempo.addEventListener("input", () => { showTempo(); restart(); });

/** A note as it is to sound: as planned on this horn, exactly equal, or pure in its chord. */
function tuned(note) {
  const kind = $("tuning").value;
  return kind === "plan" ? note : { ...note, off_cents: 0, target_cents: kind === "pure" ? note.pure_cents ?? 0 : 0 };
}

/** What the drone sounds: one note, or each chord's root from where it begins, [s of the line, MIDI]. */
function drone() {
  const kind = $("drone").value;
  if (kind === "none") return null;
  if (kind === "tonic") return data.tonic_midi;
  let root = notes.find((note) => note.root_midi !== null)?.root_midi ?? data.tonic_midi;
  return notes.map((note) => [note.start_s, root = note.root_midi ?? root]);
}

function from() {
  const all = passage();
  if (chosen > all.first && chosen <= all.last) return notes[chosen].start_s;
  return all.begin_s;
}

async function play(again_s = null) {
  if (playing) { stop(); return; }
  context ??= new AudioContext();
  await context.resume();
  if (playing) return;
  playing = new Practice(context, { ...data, notes: notes.map(tuned) }, passage(), {
    rate: rate(), loop: $("loop").checked, countIn: $("count").checked && again_s === null, clicks: $("clicks").checked,
    hear: $("hear").value, drone: drone(), knob: Number($("loud").value), from_s: again_s ?? from(), ended: stop,
    round: (count) => tell(count === 1 ? "Once through." : `${count} times through.`) });
  $("play").textContent = "Stop";
  document.body.classList.add("playing");
  frame();
}

function stop() {
  if (!playing) return;
  playing.stop();
  playing = null;
  $("play").textContent = "Play";
  document.body.classList.remove("playing");
  light(-1);
  caption("");
  slide.show(notes[chosen].start_s, true);
}

/** What was changed is heard from where the music is. */
function restart() {
  if (!playing) return;
  const at_s = Math.max(passage().begin_s, playing.at_s);
  stop();
  play(Math.min(at_s, passage().end_s - 0.05));
}

function light(index) {
  if (index === lit) return;
  const before = lit;
  lit = index;
  if (before >= 0) dressed(before);
  if (index < 0) return;
  const [here] = sheet.brought(index).groups;
  dressed(index);
  inView(here);
}

function frame() {
  if (!playing) return;
  const counting = playing.counting, at_s = playing.at_s;
  slide.show(counting ? playing.from_s : at_s, counting || calm.matches);
  light(counting || at_s < notes[0].start_s - 1e-3 ? -1 : noteAt(notes, at_s));
  caption(counting ? `Count-in ${counting.nth} of ${counting.count}` : sounding(at_s));
  requestAnimationFrame(frame);
}

/** In words what sounds now, for who cannot hear it or has the sound off. */
function sounding(at_s) {
  const note = lit >= 0 ? notes[lit] : null, said = [];
  let beat = 0;
  for (const [begins_s, first] of data.beats) if (begins_s <= at_s + 1e-6) beat = first ? 1 : beat + 1;
  if (beat) said.push(note ? `Measure ${note.measure}, beat ${beat}` : `Beat ${beat}`);
  if (note && $("hear").value === "notes") said.push(note.label === null ? `${note.name}: silent` : at_s > note.start_s + note.sounds_s ? "rest" : note.name);
  if ($("hear").value === "rhythm") said.push("rhythm");
  if ($("clicks").checked) said.push("metronome");
  if ($("drone").value !== "none") said.push("drone");
  return said.join(" · ");
}

function caption(text) { if ($("sounding").textContent !== text) $("sounding").textContent = text; }

$("play").addEventListener("click", () => play());
for (const id of ["loop", "clicks", "hear", "drone", "tuning"]) $(id).addEventListener("change", restart);
$("loud").addEventListener("input", () => { if (playing) playing.knob = Number($("loud").value); });
$("hide").addEventListener("change", () => {
  document.body.classList.toggle("recall", $("hide").checked);
  told.clear();
  for (const mark of document.querySelectorAll(".told")) mark.classList.remove("told");
});

document.addEventListener("keydown", (event) => {
  if (event.altKey || event.ctrlKey || event.metaKey) return;
  const typing = /^(INPUT|SELECT|TEXTAREA|BUTTON|SUMMARY|A)$/.test(event.target.tagName);
  if (event.key === "Escape") stop();
  else if (typing) return;
  else if (event.key === " ") play();
  else if (event.key === "ArrowRight") take(Math.min(notes.length - 1, chosen + 1));
  else if (event.key === "ArrowLeft") take(Math.max(0, chosen - 1));
  else if (event.key === "Home") take(0);
  else if (event.key === "End") take(notes.length - 1);
  else if (event.key === "Enter") tap(chosen);
  else return;
  event.preventDefault();
});
document.addEventListener("visibilitychange", () => { if (document.hidden) stop(); });

// --- the ladder and its ticks -----------------------------------------------------------------------------------------

const ladder = new Ladder(
  Object.fromEntries(["start", "step", "goal", "times"].map((name) => [name, $(`ladder-${name}`)])),
  { least: Number(tempo.min), most: Number(tempo.max), get now() { return Number(tempo.value); },
    set(bpm) { tempo.value = String(bpm); showTempo(); restart(); } },
  kept, (text) => { $("ladder-said").textContent = text; tell(text); });

$("ladder-begin").addEventListener("click", () => {
  $("loop").checked = true;
  ladder.begin();
  if (!playing) play();
});

$("clean").addEventListener("click", () => {
  const [first, last] = range ?? [0, notes.length - 1];
  ladder.tick(first, last, [notes[first].measure, notes[last].measure]);
  showTicks();
});

function showTicks() {
  const many = kept.clean.length, best = Math.max(0, ...kept.clean.map((tick) => Number(tick.bpm) || 0));
  $("ticks").textContent = many ? `Clean ${many === 1 ? "once" : `${many} times`} so far, fastest at ${best}.` : "No ticks yet.";
  $("save").disabled = $("forget").disabled = !many;
}

$("save").addEventListener("click", () => {
  const file = { schema: "lowbrass.practice/1", score: data.score, title: data.title, part: data.part, line: data.line,
    horn: data.horn, player: data.player, beat: data.beat, goal_bpm: data.beat.bpm, clean: kept.clean, ladder: ladder.steps };
  download(new Blob([JSON.stringify(file, null, 1)], { type: "application/json" }), `practice ${data.file}.json`);
});
$("forget").addEventListener("click", () => { kept.forget(); showTicks(); });

function download(blob, name) {
  const link = Object.assign(document.createElement("a"), { href: URL.createObjectURL(blob), download: name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 5000);
}

// --- tuner and recorder -----------------------------------------------------------------------------------------------

const microphone = new Microphone();
let tuner = null, recorder = null, clock = null;
const cursor = () => notes[lit >= 0 ? lit : chosen];

/** The pitch to tune to: where the plan or the tuning chosen wants the note, not where this horn speaks. [Hz] */
function wanted() {
  const note = cursor();
  return note.label === null ? null : hertz({ ...tuned(note), off_cents: 0 });
}

function heard(found) {
  const { heard: text, move } = found ? advice(cursor(), found.hz, found.cents, data) : { heard: "Listening: play the note.", move: "" };
  $("heard").textContent = text;
  $("move").textContent = move;
  $("needle").style.left = `${Math.max(0, Math.min(100, 50 + (found?.cents ?? 0)))}%`;
}

async function listening(user) {
  context ??= new AudioContext();
  const stream = await microphone.take(user);
  await context.resume();
  return stream;
}

function refusedMicrophone(error) {
  $("heard").className = "";
  $("heard").textContent = noMicrophone(error);
  $("move").textContent = "";
}

$("tune").addEventListener("click", async () => {
  if (tuner) {
    tuner.stop();
    tuner = null;
    microphone.leave("tuner");
    $("tune").textContent = "Tuner on";
    $("heard").textContent = $("move").textContent = "";
    return;
  }
  try {
    const stream = await listening("tuner");
    $("heard").className = "big";
    tuner = new Tuner(context, stream, wanted, heard);
    $("tune").textContent = "Tuner off";
    heard(null);
  } catch (error) { refusedMicrophone(error); }
});

$("record").addEventListener("click", async () => {
  if (recorder) {
    download(recorder.end(), `${data.file}.wav`);
    clearInterval(clock);
    recorder = null;
    microphone.leave("recorder");
    $("record").textContent = "Record";
    $("recording").textContent = "Saved on this device. It goes nowhere until you send it.";
    return;
  }
  try {
    const stream = await listening("recorder");
    recorder = await Recorder.begin(context, stream);
    $("record").textContent = "Stop and save";
    const tell = () => { $("recording").textContent = `● Recording, ${recorder.seconds.toFixed(0)} s.`; };
    tell();
    clock = setInterval(tell, 1000);
  } catch (error) { microphone.leave("recorder"); refusedMicrophone(error); }
});

// --- how the page looks -----------------------------------------------------------------------------------------------

const root = document.documentElement, night = window.matchMedia("(prefers-color-scheme: dark)");
function looks() {
  root.classList.toggle("dark", kept.looks.dark ?? night.matches);
  root.classList.toggle("large", kept.looks.large ?? root.classList.contains("large"));
  $("dark").setAttribute("aria-pressed", String(root.classList.contains("dark")));
  $("large").setAttribute("aria-pressed", String(root.classList.contains("large")));
}
$("dark").addEventListener("click", () => { kept.look("dark", !root.classList.contains("dark")); looks(); });
$("large").addEventListener("click", async () => {
  kept.look("large", !root.classList.contains("large"));
  looks();
  await fitted();
  sheet.fill();
  inView(sheet.brought(chosen).groups[0]);
});
night.addEventListener("change", looks);

for (const words of document.querySelectorAll("details")) words.addEventListener("toggle", () => {
  const held = words.querySelector("noscript");
  if (held) held.outerHTML = held.textContent;
});
window.addEventListener("resize", () => { slide.build(data); slide.show(notes[chosen].start_s, true); });

// --- begin ------------------------------------------------------------------------------------------------------------

looks();
slide.build(data);
await fitted();
take(0, false);
showTempo();
showRange();
showTicks();
// Ready is when the controls answer, which they do by now, and the marks can be seen: their face unpacked, a frame painted.
document.fonts.ready.then(() => requestAnimationFrame(() => setTimeout(() => {
  document.body.dataset.ready = "yes";
  sheet.fill();
})));
