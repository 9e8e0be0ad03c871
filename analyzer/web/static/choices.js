// The choices of one note: what each costs, and pinning one of them.

import { change, page, on, state, tell } from "./state.js";
import { Music, spoken } from "./music.js";
import { $, choiceButton } from "./pieces.js";

export const music = new Music($("music"), (index, byKey) => openChoices(index, byKey), (line, ref) => {
  page.wanted = ref;
  change({ line }, `Player ${line}.`);
});
const wide = () => window.matchMedia("(min-width: 64rem)").matches;

export function openChoices(index, byKey = false) {
  page.chosen = index;
  const wasOpen = !$("choices").hidden;
  $("choices").hidden = false;
  $("stage").classList.add("open");
  fillChoices();
  music.choose(index);
  tell("chosen", index);
  if (byKey) ($("list").querySelector("[aria-pressed=true]") || $("note")).focus({ preventScroll: true });
  if (!wasOpen && wide() && !page.long) tell("resized");
  // What the other choices of a pinned note cost is worked out only when it is looked at.
  else if (!page.answer.notes[index].priced) tell("asked", "");
  music.reveal(index, covered());
}

/** How much of the window's foot the choices cover. [px] */
export function covered() { return !wide() && !$("choices").hidden ? $("choices").offsetHeight : 0; }

export function closeChoices(focus = true) {
  const index = page.chosen;
  const wasOpen = !$("choices").hidden;
  page.chosen = null;
  $("choices").hidden = true;
  $("stage").classList.remove("open");
  music.choose(null);
  if (focus && index !== null) music.focus(index);
  if (wasOpen && focus && wide() && !page.long) tell("resized");
}

function fillChoices() {
  const { answer, chosen } = page;
  const note = answer.notes[chosen];
  const focused = $("choices").contains(document.activeElement) ? document.activeElement.dataset?.label ?? document.activeElement.id : null;
  const sounding = note.sounding === note.written ? "" : ` (sounds ${note.sounding})`;
  $("note").textContent = `Measure ${note.measure}, note ${note.nth}: ${note.written}${sounding}`;
  const aim = note.aim ? `Slide for the chord: ${note.aim} mm. ` : "";
  $("now").textContent = note.problem || `${aim}${note.why.join(" ")}`;
  const candidates = answer.candidates[note.midi];
  const weighed = note.prices.map(([label, cost], place) => {
    const candidate = candidates.find((other) => other.label === label);
    const travel = note.travel_mm[place];
    const more = travel === null ? "" : `Slide travel before and after: ${Math.round(travel / 10)} cm.`;
    return choiceButton(note, candidate, cost === 0 ? "best here" : harder(cost), more, place === 0, pin);
  });
  $("list").replaceChildren(...weighed);
  const labels = new Set(note.prices.map(([label]) => label));
  const others = candidates.filter((candidate) => !labels.has(candidate.label));
  $("others").hidden = !others.length;
  $("other-list").replaceChildren(...others.map((candidate) => choiceButton(note, candidate, candidate.against || "not weighed here", "", false, pin)));
  $("costs").hidden = note.prices.length < 2;
  $("costs").textContent = "How much harder counts for the whole passage, with all that follows from the choice.";
  $("unpin").hidden = !note.pinned;
  $("before").disabled = chosen === 0;
  $("after").disabled = chosen === answer.notes.length - 1;
  if (focused !== null) {
    const again = [...$("choices").querySelectorAll("[data-label]")].find((button) => button.dataset.label === focused) || $(focused || "note");
    (again && !again.hidden && !again.disabled ? again : $("note")).focus({ preventScroll: true });
  }
}

/** How much harder the whole passage gets with a choice. */
function harder(cost) {
  return page.answer.family === "slide" ? `as hard as ${cost < 1.5 ? "1 cm" : `${Math.round(cost)} cm`} more of unhurried slide` : cost < 3 ? "a little harder" : cost < 12 ? "harder" : "much harder";
}

function pin(label) {
  const note = page.answer.notes[page.chosen], now = state();
  const others = now.pins.filter((held) => !(held.part === now.part && held.line === now.line && held.ref === note.refs[0]));
  performance.mark("lowbrass-pinned");
  if (label === null) { change({ pins: others }, "The plan chooses again."); return; }
  const mine = { part: now.part, line: now.line, ref: note.refs[0], label, measure: note.measure, nth: note.nth, written: note.written };
  change({ pins: [...others, mine] }, `${spoken(label)} is your choice in measure ${note.measure}, note ${note.nth}.`);
}

$("close").addEventListener("click", () => closeChoices());
$("unpin").addEventListener("click", () => pin(null));
$("before").addEventListener("click", () => openChoices(page.chosen - 1));
$("after").addEventListener("click", () => openChoices(page.chosen + 1));
$("choices").addEventListener("keydown", (event) => {
  if (event.key === "Escape") { event.preventDefault(); closeChoices(); return; }
  if (event.key !== "ArrowDown" && event.key !== "ArrowUp") return;
  const all = [...$("choices").querySelectorAll(".choice")].filter((button) => button.offsetParent);
  const here = all.indexOf(document.activeElement);
  const next = all[here + (event.key === "ArrowDown" ? 1 : -1)] ?? (here < 0 ? all[0] : null);
  if (next) { event.preventDefault(); next.focus(); }
});
on("answer", () => {
  if (page.chosen === null) closeChoices(false);
  else if ($("choices").hidden && page.view === "marks") openChoices(page.chosen);
  else { music.choose(page.chosen); fillChoices(); }
});
