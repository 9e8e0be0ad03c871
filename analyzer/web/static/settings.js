// The settings above the music: part, player, horn, measures, tempo, and what the player can do.

import { change, keepDesk, page, failed, on, post, savedAs, send, state } from "./state.js";
import { fillPlayers, hornIn, playerIn } from "./people.js";
import { $, make } from "./pieces.js";

const FIELDS = [["outermost", "outermost_position", "number"], ["reach", "reach_mm", "number"], ["height", "height_cm", "number"],
  ["limit", "attachment_ceiling", "text"], ["speed", "max_slide_speed_mm_s", "number"], ["low", "low", "text"],
  ["high", "high", "text"], ["learned", "learned", "list"]];
const UNTOLD = { limit: "C3" };    // what a field shows where the player file says nothing

// An empty list says that nothing is learned yet; no list, that all is.
export const list = (text) => (text === "none" ? [] : text.split(/[,;\s]+/).filter(Boolean));
export const listed = (value) => (Array.isArray(value) ? value.join(", ") || "none" : value);

/** What the fields say, in the names of a player file; what has no field stays as it was. */
function playerGiven() {
  const given = { ...state().player };
  for (const [, key] of FIELDS) delete given[key];
  for (const [id, key, kind] of FIELDS) {
    const text = $(id).value.trim();
    if (text === (UNTOLD[id] ?? "")) continue;
    given[key] = kind === "number" ? Number(text) : kind === "list" ? list(text) : text;
  }
  return given;
}

export function fillSettings() {
  document.documentElement.dataset.size = $("size").value;
  const { answer, start, score } = page, now = state();
  $("part").value = now.part;
  $("undo").disabled = page.at <= 0;
  $("redo").disabled = page.at >= page.states.length - 1;
  for (const id of ["from", "to"]) if (document.activeElement !== $(id)) $(id).value = now[id];
  for (const [id, key] of FIELDS) {
    const value = now.player[key] ?? UNTOLD[id] ?? "";
    if (id === "limit" && ![...$(id).options].some((option) => option.value === value)) $(id).append(make("option", value, { value }));
    if (document.activeElement !== $(id)) $(id).value = listed(value);
  }
  $("player-name").textContent = now.player.name ? `: ${now.player.name}` : "";
  fillPlayers();
  if (!answer) return;
  const fits = start.horns.filter((horn) => horn.family === answer.family);
  const usual = start.horns.find((horn) => horn.name === (score.parts.find((part) => part.id === now.part)?.horn || "tenor-f"));
  $("horn").replaceChildren(make("option", `${usual?.description ?? answer.horn} (assumed)`, { value: "" }), ...fits.map((horn) => make("option", horn.description, { value: horn.name })));
  $("horn").value = now.horn;
  sayFolded();
  $("line-field").hidden = answer.lines.length < 2;
  $("line").replaceChildren(...answer.lines.map((line) => make("option", `${line.line} of ${line.of}`, { value: line.line })));
  $("line").value = now.line;
  $("reads-field").hidden = !answer.treble;
  $("reads").value = now.reads ?? "";
  $("intonation").value = now.intonation ?? "";
  $("from").placeholder = answer.measures.first;
  $("to").placeholder = answer.measures.last;
  tempo(now.tempo);
}

/** The folded settings in a line: what they are in this view. */
function sayFolded() {
  const now = state(), part = $("part").selectedOptions[0]?.textContent ?? "", horn = $("horn").selectedOptions[0]?.textContent.replace(" (assumed)", "") ?? "";
  const measures = now.from || now.to ? `measures ${now.from || "first"} to ${now.to || "last"}` : "all measures";
  $("setup-said").textContent = page.view === "section" ? `Checked: ${measures}, ${now.tempo ? `tempo ${Math.round(now.tempo)}` : "tempo as marked"}: change` : `${part}, ${horn}: change`;
}
on("view", () => { if (page.answer) sayFolded(); });

function tempo(asked) {
  const { marked, ceiling, hardest, ample } = page.answer.tempo;
  const shown = asked ?? marked[0] ?? 120;
  const range = $("tempo");
  range.max = Math.max(260, Math.ceil(shown));
  if (document.activeElement !== range || asked === null) range.value = shown;
  tempoSaid(asked);
  $("tempo-marked").hidden = asked === null;
  $("ceiling").textContent = ceiling === null ? "No move here sets a limit." : ample ? "Ample time for every move at this tempo." :
    `Can be played up to about ${Math.floor(ceiling)} quarter notes a minute` + (hardest.length ? `; ${hardest[0]} sets it.` : ".");
  const mark = $("ceiling-mark");
  const share = ceiling === null ? 2 : (ceiling - range.min) / (range.max - range.min);
  mark.hidden = share < 0 || share > 1;
  // The slider's knob is 16 px wide: its middle travels from 8 px to 8 px before the end.
  if (!mark.hidden) mark.style.left = `calc(8px + (100% - 16px) * ${share.toFixed(4)} - 1px)`;
}

function tempoSaid(asked) {
  const { marked, ceiling } = page.answer.tempo;
  const above = ceiling !== null && (asked ?? Math.max(...marked)) > ceiling;
  const text = asked !== null ? `${Math.round(asked)}` : `as marked: ${marked.length > 3 ? `${marked[0]} to ${marked[marked.length - 1]}` : marked.join(", ")}`;
  $("tempo").setAttribute("aria-valuetext", text);
  $("tempo-said").textContent = text + (above ? " (faster than it can be played)" : "");
  $("tempo").closest(".tempo").classList.toggle("above", above);
}

$("settings").addEventListener("submit", (event) => event.preventDefault());
$("part").addEventListener("change", () => {
  page.chosen = null;
  change({ part: $("part").value, line: 1, horn: "", from: "", to: "", reads: "" }, "Another part.");
});
$("line").addEventListener("change", () => change({ line: Number($("line").value) }, "Another player."));
$("intonation").addEventListener("change", () => change({ intonation: $("intonation").value }, $("intonation").value ? "Long notes are pure in their chord." : "Equal temperament."));
$("reads").addEventListener("change", () => change({ reads: $("reads").value }, "Read another way."));
$("horn").addEventListener("change", () => change({ horn: $("horn").value }, "Another horn."));
for (const id of ["from", "to"]) $(id).addEventListener("change", () => change({ from: $("from").value.trim(), to: $("to").value.trim() }, "Other measures."));
for (const [id] of FIELDS) $(id).addEventListener("change", () => { change({ player: playerGiven() }, "Another player."); keepDesk({ player: state().player }); });
$("tempo").addEventListener("input", () => tempoSaid(Number($("tempo").value)));
$("tempo").addEventListener("change", () => change({ tempo: Number($("tempo").value) }, `Tempo ${$("tempo").value}.`));
$("tempo-marked").addEventListener("click", () => { change({ tempo: null }, "Tempo as marked."); $("tempo").focus(); });
// Whoever is known of already: from the sections, or as set before.
$("who").addEventListener("change", () => {
  const horn = page.start.horns.find(({ name }) => name === hornIn($("who")));
  const fits = horn && horn.family === page.answer?.family ? { horn: horn.name } : {};
  change({ player: playerIn($("who")), ...fits }, `For ${$("who").selectedOptions[0].textContent}.`);
  keepDesk({ player: state().player });
});
$("player-file").addEventListener("change", async (event) => {
  const file = event.target.files[0];
  event.target.value = "";
  if (!file) return;
  try { change({ player: (await send("/api/player/read", file)).player }, `${file.name} is read.`); } catch (error) { failed(error); }
});
$("player-save").addEventListener("click", () => savedAs($("player-save"), () => post("/api/player/write", state().player)));
on("answer", fillSettings);

// On a phone the settings would stand before the music like a wall: one line says them, and opens them.
const narrow = window.matchMedia("(max-width: 40rem)");
const folded = () => narrow.matches || page.view === "section";
const fold = () => { $("setup").open = !folded(); };
on("view", () => { if (!narrow.matches) fold(); });
narrow.addEventListener("change", fold);
fold();
