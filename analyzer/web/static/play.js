// Practicing: the line played from the chosen note, counted in, slower, round and round, its notes lit as they sound,
// slide or valves moving as planned, the marks hidden for recall. The player is the take-home page's own.

import { music } from "./choices.js";
import { ask, page, failed, on, tell } from "./state.js";
import { $, make, say } from "./pieces.js";
import { Practice } from "./engine.js";
import { Slide } from "./slide.js";
import { noteAt, passageOf } from "./sound.js";

const SLOWLY = 60;      // [% of the tempo] to begin with at a hard place; judged: two thirds is where most teachers start
const slide = new Slide($("slide"));
const calm = window.matchMedia("(prefers-reduced-motion: reduce)");
let context = null, playing = null, sound = null, lit = -1, counting_s = null;

/** Play from the chosen note, else from the first of the passage; `again` at a moment of the line, not counted in. */
async function play(again = null, fromFirst = false) {
  if (playing) { stop(); return; }
  try {
    // A browser lets sound begin only in answer to the hand: the context is made before anything is waited for.
    context ??= new AudioContext();
    const resumed = context.resume();
    if (again === null) sound = await ask("/api/sound");
    await resumed;
    if (playing) return;
    const passage = passageHere();
    if (!passage) { say("The last measure comes before the first."); return; }
    $("hearing").textContent = sound.caution;
    $("figure").hidden = false;
    slide.build(sound);
    $("play").textContent = "Stop";
    $("play").classList.add("on");
    const chosen = page.chosen ?? music.at;
    const start = !fromFirst && chosen > passage.first && chosen <= passage.last ? sound.notes[chosen].start_s : passage.begin_s;
    const from_s = again === null ? start : Math.min(Math.max(again, passage.begin_s), passage.end_s - 0.05);
    playing = new Practice(context, sound, passage, {
      rate: Number($("play-speed").value) / 100, loop: $("play-loop").checked, countIn: $("play-count").checked && again === null,
      clicks: $("play-clicks").checked, hear: $("play-hear").value, drone: null, knob: Number($("play-loud").value), from_s,
      ended: stop, round: (count) => { $("rounds").textContent = count === 1 ? "Once through." : `${count} times through.`; } });
    lit = -1;
    counting_s = from_s;
    frame();
  } catch (error) { failed(error); }
}

function passageHere() {
  const { notes } = sound, first = firstOf($("play-from").value), last = lastOf($("play-to").value);
  if (last < first) return null;
  const found = passageOf(notes, first, last);
  return { ...found, end_s: found.begin_s + found.length_s };
}

function firstOf(measure) { return Math.max(0, sound.notes.findIndex((note) => note.measure === measure)); }
function lastOf(measure) {
  const last = sound.notes.findLastIndex((note) => note.measure === measure);
  return last < 0 ? sound.notes.length - 1 : last;
}

function frame() {
  if (!playing) return;
  const { at_s, counting } = playing;
  // While it is counted in, no note sounds, and slide or valves wait where the first one needs them.
  if (counting) $("rounds").textContent = `Count-in ${counting.nth} of ${counting.count}`;
  if (counting_s !== null && at_s >= counting_s - 1e-3) {
    counting_s = null;
    $("rounds").textContent = "";
  }
  const here = counting_s === null ? noteAt(sound.notes, at_s) : -1;
  slide.show(counting_s ?? at_s, counting_s !== null || calm.matches);
  if (here !== lit) {
    lit = here;
    music.sound(here);
    music.reveal(here, 0);
  }
  requestAnimationFrame(frame);
}

export function stop() {
  if (!playing) return;
  playing.stop();
  playing = null;
  music.sound(null);
  $("figure").hidden = true;
  $("play").textContent = "Play";
  $("play").classList.remove("on");
  $("rounds").textContent = "";
}

/** Something about the playing is changed: it goes on where it is, as it is wanted now. */
function restart() {
  if (!playing) return;
  const { at_s } = playing;
  stop();
  play(at_s);
}

/** Offer the measures shown; where others are shown than before, all of them are the passage. */
function fillPassage() {
  const measures = [...new Set(page.answer.notes.map((note) => note.measure))];
  const shown = JSON.stringify([page.score.session, page.answer.part, measures]);
  if (shown === fillPassage.shown) return;
  fillPassage.shown = shown;
  tell("passages");
  for (const id of ["play-from", "play-to"]) $(id).replaceChildren(...measures.map((measure) => make("option", measure)));
  $("play-from").value = measures[0];
  $("play-to").value = measures[measures.length - 1];
}

/** The measure of the chosen note becomes the first or the last that is played. */
function bound(id, name) {
  const note = page.answer?.notes[page.chosen ?? music.at];
  if (!note) return;
  $(id).value = note.measure;
  $("play-loop").checked = true;
  $("listen").open = true;
  tell("bounds", $("play-from").value, $("play-to").value);
  say(`Loop: the ${name} measure is ${note.measure}.`);
  restart();
}

function showSpeed() { $("play-speed-said").textContent = `${$("play-speed").value} %`; }
function hide() {
  $("music").classList.toggle("recall", $("play-hide").checked);
  for (const mark of $("music").querySelectorAll(".told")) mark.classList.remove("told");
}

$("play").addEventListener("click", () => play());
for (const id of ["play-from", "play-to"]) $(id).addEventListener("change", () => tell("passage", $("play-from").value, $("play-to").value));
for (const id of ["play-speed", "play-loop", "play-from", "play-to", "play-clicks", "play-hear"]) $(id).addEventListener("change", restart);
$("play-speed").addEventListener("input", showSpeed);
$("play-hide").addEventListener("change", hide);
$("play-loud").addEventListener("input", () => { if (playing) playing.knob = Number($("play-loud").value); });
document.addEventListener("keydown", (event) => {
  if (page.view !== "marks" || !page.answer || $("work").hidden || event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.key === "Escape" && playing) { stop(); $("play").focus(); return; }
  const at = event.target;
  if (!at.closest?.(".hot") && at.matches?.("input, select, textarea, button, summary, a, [role=tab]")) return;
  if (event.key === " ") play();
  else if (event.key === "[") bound("play-from", "first");
  else if (event.key === "]") bound("play-to", "last");
  else if (event.key === "?") $("keys").open = !$("keys").open;
  else return;
  event.preventDefault();
});
document.addEventListener("visibilitychange", () => { if (document.hidden) stop(); });
on("stop", stop);
on("opened", stop);
/** The measure that breaks first, with one before and one after, slowly, again and again. */
function around(measure) {
  const measures = [...new Set(page.answer.notes.map((note) => note.measure))], at = measures.indexOf(measure);
  return [measures[Math.max(0, at - 1)], measures[Math.min(measures.length - 1, at + 1)]];
}
$("practice-first").addEventListener("click", () => {
  const measure = page.answer.practice_first[0];
  $("play-speed").value = SLOWLY;
  showSpeed();
  $("listen").open = true;
  const [first, last] = around(measure);
  tell("bounds", first, last);
  tell("loop", first, last);
  const index = page.answer.notes.findIndex((note) => note.measure === first);
  music.focus(index);
  music.reveal(index, 0);
});
on("answer", () => {
  const [measure] = page.answer.practice_first;
  $("practice-first").hidden = !measure;
  $("practice-first").textContent = `Practice measure ${measure} slowly`;
});
on("loop", (first, last) => {
  stop();
  for (const [id, value] of [["play-from", first], ["play-to", last]]) $(id).value = value;
  $("play-loop").checked = true;
  play(null, true);
});
on("answer", fillPassage);
on("chosen", (index) => {
  for (const mark of $("music").querySelectorAll(`.mark[data-index="${index}"]`)) mark.classList.add("told");
});
showSpeed();
