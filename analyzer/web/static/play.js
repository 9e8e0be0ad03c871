// Listening: the line played slowly or in time, its notes lit as they sound, slide or valves moving as planned.

import { music } from "./choices.js";
import { ask, page, failed, on } from "./state.js";
import { $, make, say } from "./pieces.js";
import { Slide } from "./slide.js";
import { Playing, noteAt, passageOf } from "./sound.js";

const slide = new Slide($("slide"));
const calm = window.matchMedia("(prefers-reduced-motion: reduce)");
let context = null, playing = null, sound = null, lit = -1;

async function play() {
  if (playing) { stop(); return; }
  try {
    // A browser lets sound begin only in answer to the hand: the context is made before anything is waited for.
    context ??= new AudioContext();
    const resumed = context.resume();
    sound = await ask("/api/sound");
    await resumed;
    if (playing) return;
    const passage = passageOf(sound.notes, firstOf($("play-from").value), lastOf($("play-to").value));
    if (passage.last < passage.first) { say("The last measure comes before the first."); return; }
    $("hearing").textContent = sound.caution;
    $("figure").hidden = false;
    slide.build(sound);
    $("play").textContent = "Stop";
    $("play").classList.add("on");
    playing = new Playing(context, sound.notes, passage, {
      rate: Number($("play-speed").value), loop: $("play-loop").checked, knob: Number($("play-loud").value), ended: stop });
    lit = -1;
    frame();
  } catch (error) { failed(error); }
}

function firstOf(measure) { return Math.max(0, sound.notes.findIndex((note) => note.measure === measure)); }
function lastOf(measure) {
  const last = sound.notes.findLastIndex((note) => note.measure === measure);
  return last < 0 ? sound.notes.length - 1 : last;
}

function frame() {
  if (!playing) return;
  const at_s = playing.at_s, here = noteAt(sound.notes, at_s);
  slide.show(at_s, calm.matches);
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
}

/** Offer the measures shown; where others are shown than before, all of them are the passage. */
function fillPassage() {
  const measures = [...new Set(page.answer.notes.map((note) => note.measure))];
  const shown = JSON.stringify([page.score.session, page.answer.part, measures]);
  if (shown === fillPassage.shown) return;
  fillPassage.shown = shown;
  for (const id of ["play-from", "play-to"]) $(id).replaceChildren(...measures.map((measure) => make("option", measure)));
  $("play-from").value = measures[0];
  $("play-to").value = measures[measures.length - 1];
}

$("play").addEventListener("click", play);
for (const id of ["play-speed", "play-loop", "play-from", "play-to"]) {
  $(id).addEventListener("change", () => { if (playing) { stop(); play(); } });
}
$("play-loud").addEventListener("input", () => { if (playing) playing.knob = Number($("play-loud").value); });
document.addEventListener("keydown", (event) => { if (event.key === "Escape" && playing) { stop(); $("play").focus(); } });
document.addEventListener("visibilitychange", () => { if (document.hidden) stop(); });
on("stop", stop);
on("opened", stop);
on("answer", fillPassage);
