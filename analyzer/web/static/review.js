// The review of a part on a horn: what cannot be played, where to take care, and the ways out.

import { ask, post, question, savedAs, state, tell, working } from "./state.js";
import { $, listOf, make } from "./pieces.js";

/** Findings that say the same, with their places to go to and the ways out. `part` and `line` say where the places are. */
function groupOf({ said, places, remedies }, severity, part, line) {
  const item = make("li", "", { class: `finding ${severity}` });
  item.append(make("p", said));
  const row = make("p", "", { class: "places" });
  for (const place of places.slice(0, 24)) {
    const button = make("button", `m. ${place.measure}`, { type: "button", "aria-label": `Show measure ${place.measure} in the music` });
    button.addEventListener("click", () => tell("goto", { part, line, index: place.index }));
    row.append(button, " ");
  }
  if (row.childNodes.length) item.append(row);
  if (remedies.length) item.append(listOf("ul", remedies));
  return item;
}

/** Findings under the heading of each severity, as the server put them together. */
export function findingsOf(findings, part, line, level = "h3") {
  return findings.flatMap(({ severity, heading, groups }) => {
    const list = make("ul", "", { class: "findings" });
    list.append(...groups.map((group) => groupOf(group, severity, part, line)));
    return [make(level, heading), list];
  });
}

export function cautionsOf(lines) {
  const box = make("div", "", { class: "care" });
  box.append(make("h3", "With care"), listOf("ul", lines));
  return box;
}

/** The changes of the playable version, each with a box to leave its place as written. */
function changesOf({ changes, left }) {
  const list = make("ul", "", { class: "findings", id: "changes" });
  list.append(...changes.map(({ place, said }) => {
    const item = make("li"), label = make("label"), box = make("input", "", { type: "checkbox", value: place });
    box.checked = true;
    label.append(box, ` ${said}`);
    item.append(label);
    return item;
  }));
  const out = [make("h3", "What the playable version changes"), make("p", "Each change is marked over its note. Untick what should stay as written."), list];
  return left ? [...out, make("p", left)] : out;
}

const refusedOf = () => [...document.querySelectorAll("#changes input:not(:checked)")].map((box) => box.value);

export async function showReview(signal, current) {
  const found = await ask("/api/review", signal);
  if (!current()) return;
  const horn = $("horn").selectedOptions[0]?.textContent.replace("Assumed: ", "") ?? "", several = found.page.lines.length > 1;
  const out = [make("h2", `Review: ${$("part").selectedOptions[0]?.textContent ?? ""} on ${horn}`)];
  $("review-said").textContent = found.page.said;
  for (const { line, findings } of found.page.lines) {
    if (several) out.push(make("h3", `Player ${line} of ${found.page.lines.length}`));
    if (several && !findings.length) out.push(make("p", "Nothing found."));
    out.push(...findingsOf(findings, state().part, line, several ? "h4" : "h3"));
  }
  if (found.page.problems.length) out.push(make("h3", "About the file"), listOf("ul", found.page.problems));
  if (found.page.changes.length) {
    out.push(...changesOf(found.page));
    const row = make("p"), button = make("button", "Save the score with notes that can be played", { type: "button", id: "playable" });
    button.addEventListener("click", () => savedAs(button, () => working((ended) => post("/api/playable", question({ refuse: refusedOf() }), ended))));
    row.append(button);
    out.push(row);
  }
  $("view-review").replaceChildren(...out, cautionsOf(found.cautions));
}
