// The review of a part on a horn: what cannot be played, what asks for care, and the ways out.

import { ask, desk, post, question, savedAs, state, tell, working } from "./desk.js";
import { $, make } from "./pieces.js";

const HEADINGS = { stop: "Cannot be played so", care: "Asks for care", note: "Good to know" };
const capital = (text) => text[0].toUpperCase() + text.slice(1);
const sentence = (text) => `${capital(text)}${/[.!?]$/.test(text) ? "" : "."}`;

/** Say a horn in a few words: what it is, without its pitch and the particulars of its valves. */
export function hornSaid(name) {
  const whole = desk.start.horns.find((horn) => horn.name === name)?.description.replace(/ in [BE] flat/, "") ?? name;
  const told = whole.length > 45 ? whole.split(", ")[0] : whole;
  return told[0].toLowerCase() + told.slice(1);
}

/** Say horns by what they are, not by their names in files; names that are plain words stay. */
export function named(text) {
  const names = desk.start.horns.map((horn) => horn.name).filter((name) => name.includes("-")).sort((a, b) => b.length - a.length);
  return names.reduce((said, name) => said.replace(new RegExp(`(?<![\\w-])${name}(?![\\w-])`, "g"), hornSaid(name)), text);
}

/** Measures as words: "measure 3" or "measures 3, 5". */
export function measuresSaid(measures) {
  const once = [...new Set(measures.filter(Boolean))];
  if (!once.length) return "";
  return `${once.length > 1 ? "measures" : "measure"} ${once.slice(0, 12).join(", ")}${once.length > 12 ? ` and ${once.length - 12} more` : ""}`;
}

/** One finding with its places to go to and its ways out. `part` and `line` say where the places are. */
function findingOf({ severity, what, places, ways }, part, line) {
  const item = make("li", "", { class: `finding ${severity}` });
  item.append(make("p", sentence(named(what))));
  const row = make("p", "", { class: "places" });
  for (const place of places.filter((one) => one.measure).slice(0, 24)) {
    const button = make("button", `m. ${place.measure}`, { type: "button", "aria-label": `Show measure ${place.measure} in the music` });
    button.addEventListener("click", () => tell("goto", { part, line, index: place.index }));
    row.append(button, " ");
  }
  if (row.childNodes.length) item.append(row);
  if (ways.length) {
    const list = make("ul");
    list.append(...ways.map((way) => make("li", way.measures.length ? `${capital(measuresSaid(way.measures))}: ${named(way.text)}` : named(way.text))));
    item.append(list);
  }
  return item;
}

/** Findings under the heading of each severity. */
export function findingsOf(groups, part, line, level = "h3") {
  const out = [];
  for (const [severity, heading] of Object.entries(HEADINGS)) {
    const mine = groups.filter((group) => group.severity === severity);
    if (!mine.length) continue;
    const list = make("ul", "", { class: "findings" });
    list.append(...mine.map((group) => findingOf(group, part, line)));
    out.push(make(level, heading), list);
  }
  return out;
}

export function cautionsOf(lines) {
  const box = make("div", "", { class: "care" }), list = make("ul");
  list.append(...lines.map((line) => make("li", line)));
  box.append(make("h3", "With care"), list);
  return box;
}

const COUNTS = { stop: ["place cannot be played so", "places cannot be played so"], care: ["place asks for care", "places ask for care"], note: ["remark is good to know", "remarks are good to know"] };

/** How many findings of each severity there are, in words. */
export function countSaid(findings) {
  const said = Object.entries(COUNTS).map(([severity, words]) => [findings.filter((one) => one.severity === severity).length, words]).filter(([count]) => count);
  return said.length ? `${said.map(([count, words]) => `${count} ${words[count === 1 ? 0 : 1]}`).join(", ")}.` : "Nothing found: every note and move lies within this horn and player.";
}

/** The changes of the playable version, each with a box to leave its place as written. */
function changesOf({ changes, left }) {
  const list = make("ul", "", { class: "findings", id: "changes" });
  list.append(...changes.map((one) => {
    const item = make("li"), label = make("label"), box = make("input", "", { type: "checkbox", value: one.place });
    box.checked = true;
    label.append(box, ` ${one.said}`);
    item.append(label);
    return item;
  }));
  const out = [make("h3", "What the playable version changes"), make("p", "Each change is marked over its note. Untick what should stay as written."), list];
  if (left.length) out.push(make("p", `${left.length} more ${left.length === 1 ? "place stays" : "places stay"} as written: no other note works there.`));
  return out;
}

const refusedOf = () => [...document.querySelectorAll("#changes input:not(:checked)")].map((box) => box.value);

export async function showReview(signal, current) {
  const found = await ask("/api/review", signal);
  if (!current()) return;
  const horn = $("horn").selectedOptions[0]?.textContent.replace("Assumed: ", "") ?? found.horn;
  const out = [make("h2", `Review: ${$("part").selectedOptions[0]?.textContent ?? ""} on ${horn}`)];
  out.push(make("p", countSaid(found.findings), { class: "verdict", id: "review-said" }));
  for (const { line, groups } of found.told) {
    if (found.told.length > 1) out.push(make("h3", `Player ${line} of ${found.told.length}`));
    if (found.told.length > 1 && !groups.length) out.push(make("p", "Nothing found."));
    out.push(...findingsOf(groups, state().part, line, found.told.length > 1 ? "h4" : "h3"));
  }
  if (found.problems.length) {
    const list = make("ul");
    list.append(...found.problems.map((one) => make("li", `${one.where}: ${one.what} ${one.try}`)));
    out.push(make("h3", "About the file"), list);
  }
  if (found.ossia?.changes.length) {
    out.push(...changesOf(found.ossia));
    const row = make("p"), button = make("button", "Save the score with notes that can be played", { type: "button", id: "playable" });
    button.addEventListener("click", () => savedAs(button, () => working((ended) => post("/api/playable", question({ refuse: refusedOf() }), ended))));
    row.append(button);
    out.push(row);
  }
  $("view-review").replaceChildren(...out, cautionsOf(found.cautions));
}
