// The same part on two or three horns side by side.

import { ask, page, failed, on, post, question, savedAs, working } from "./state.js";
import { $, make } from "./pieces.js";
import { paper } from "./print-paper.js";
import { cautionsOf } from "./review.js";

const CHOOSERS = ["horn-a", "horn-b", "horn-c"];
const metres = (mm) => (mm === null ? "–" : `${(mm / 1000).toFixed(1)} m`);
const shown = (label) => label.replace("#", "♯").replace(/b$/, "♭");
const ROWS = [
  ["Notes beyond the horn", (column) => String(column.beyond)],
  ["Notes this player cannot play", (column) => String(column.unplayable)],
  ["Slide travel", (column) => metres(column.travel_mm)],
  ["Fastest move", (column) => (column.fastest ? `${(column.fastest.peak_speed_mm_s / 1000).toFixed(1)} m/s, measure ${column.fastest.measure}: ${shown(column.fastest.from)} to ${shown(column.fastest.to)}` : "–")],
  ["Notes in 6th / 7th position", (column) => (column.sixth === null ? "–" : `${column.sixth} / ${column.seventh}`)],
  ["More than 10 / 20 / 30 cents out of tune", (column) => [10, 20, 30].map((limit) => column[`off_over_${limit}_cents`]).join(" / ")],
  ["Valve changes", (column) => String(column.valve_changes)],
  ["Tempo ceiling, quarter notes a minute", (column) => (column.tempo_ceiling_bpm === null ? "–" : String(Math.floor(column.tempo_ceiling_bpm)))],
];
const told = ({ value, kind }, unit = "") => (value === null ? "–" : `${value}${unit} (${kind})`);
const missing = (gaps) => (gaps.length > 1 ? `, none from ${gaps[0]} to ${gaps[gaps.length - 1]}` : gaps.length ? `, no ${gaps[0]}` : "");
const FACTS = [
  ["Notes", (horn) => `${horn.low} to ${horn.high}${missing(horn.gaps)}`],
  ["Bore", (horn) => told(horn.bore_mm, " mm")],
  ["Weight", (horn) => told(horn.weight_kg, " kg")],
  ["Valves", (horn) => (horn.valves.length ? `${horn.valves.join(", ")}${horn.compensating ? ", compensating" : ""}` : "none")],
  ["The left hand carries", (horn) => told(horn.left_hand_carries)],
  ["The left hand works", (horn) => told(horn.left_hand_works)],
];

function tableOf(caption, heads, rows) {
  const table = make("table", "", { class: "sides" }), top = make("tr"), head = make("thead"), body = make("tbody");
  table.append(make("caption", caption));
  top.append(make("td"), ...heads.map((name) => make("th", name, { scope: "col" })));
  head.append(top);
  body.append(...rows.map(([name, ...cells]) => {
    const row = make("tr");
    row.append(make("th", name, { scope: "row" }), ...cells.map((cell) => make("td", cell)));
    return row;
  }));
  table.append(head, body);
  const scroll = make("div", "", { class: "scroll", tabindex: "0", role: "region", "aria-label": caption });
  scroll.append(table);
  return scroll;
}

/** Choose horns at first: the one planned for, and the next of its family. */
function firstChoice() {
  const { horns } = page.start, mine = horns.filter((horn) => horn.family === page.answer.family);
  // One's own stand first in the list.
  const other = mine.find((horn) => horn.name !== page.answer.horn && horn.name !== "alto") ?? horns[0];
  for (const [id, value] of [["horn-a", page.answer.horn], ["horn-b", other.name], ["horn-c", ""]]) $(id).value = value;
}

export async function showComparison(signal, current) {
  if (!$("horn-a").value || $("compare-form").dataset.family !== page.answer.family) firstChoice();
  $("compare-form").dataset.family = page.answer.family;
  const horns = [...new Set(CHOOSERS.map((id) => $(id).value).filter(Boolean))];
  if (horns.length < 2) { $("compared").replaceChildren(make("p", "Choose two different horns.")); return; }
  const found = await ask("/api/compare", signal, { horns });
  if (!current()) return;
  const names = found.horns.map((horn) => page.start.horns.find(({ name }) => name === horn.name)?.description ?? horn.description);
  const out = found.lines.map((line) => tableOf(
    `${$("part").selectedOptions[0]?.textContent ?? line.part.name}${line.of > 1 ? `, player ${line.line} of ${line.of}` : ""}: ${line.columns[0].notes} notes`,
    names, ROWS.map(([name, cell]) => [name, ...line.columns.map(cell)])));
  out.push(tableOf("The horns themselves", names, FACTS.map(([name, cell]) => [name, ...found.horns.map(cell)])));
  const row = make("p", "", { class: "row" }), print = make("button", "Print the comparison", { type: "button" });
  print.addEventListener("click", () => savedAs(print, () => post("/api/compare", question({ horns, ending: ".pdf", paper: paper() }))));
  row.append(print);
  $("compared").replaceChildren(row, ...out, cautionsOf(found.cautions));
}

on("started", () => {
  for (const id of CHOOSERS) $(id).addEventListener("change", () => working(showComparison).catch(failed));
});
$("compare-form").addEventListener("submit", (event) => event.preventDefault());
