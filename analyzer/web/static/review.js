// The review of a part on a horn: what cannot be played, where to take care, and the ways out.

import { ask, change, failed, page, post, question, savedAs, state, tell, working } from "./state.js";
import { picture } from "./music.js";
import { $, listOf, make } from "./pieces.js";

/** A button that leads to a note in the music; `where` says its part and line, and for whom the music is shown. */
export function wayTo(measure, index, where) {
  const button = make("button", `m. ${measure}`, { type: "button", "aria-label": `Show measure ${measure} in the music` });
  button.addEventListener("click", () => tell("goto", { ...where, index }));
  return button;
}

/** Findings that say the same, with their places to go to and the ways out. */
function groupOf({ said, places, remedies }, severity, where) {
  const item = make("li", "", { class: `finding ${severity}` });
  item.append(make("p", said));
  const row = make("p", "", { class: "places" });
  for (const place of places.slice(0, 24)) row.append(wayTo(place.measure, place.index, where), " ");
  if (row.childNodes.length) item.append(row);
  if (remedies.length) item.append(listOf("ul", remedies));
  return item;
}

/** Findings under the heading of each severity, as the server put them together. */
export function findingsOf(findings, where, level = "h3") {
  return findings.flatMap(({ severity, heading, groups }) => {
    const list = make("ul", "", { class: "findings" });
    list.append(...groups.map((group) => groupOf(group, severity, where)));
    return [make(level, heading), list];
  });
}

export function cautionsOf(lines) {
  const box = make("div", "", { class: "care" });
  box.append(make("h3", "With care"), listOf("ul", lines));
  return box;
}

/** The changes of the playable version, each with a box to leave its place as written, and a look before and after. */
function changesOf({ changes, left }) {
  const list = make("ul", "", { class: "findings", id: "changes" });
  list.append(...changes.map(({ place, said }) => {
    const item = make("li", "", { class: "finding" }), label = make("label", "", { class: "take" }), box = make("input", "", { type: "checkbox", value: place });
    const look = make("button", "Before and after", { type: "button", "aria-expanded": "false" }), shown = make("div", "", { class: "before-after" });
    box.checked = true;
    shown.hidden = true;
    look.addEventListener("click", () => preview(place, look, shown));
    label.append(box, ` ${said}`);
    item.append(label, look, shown);
    return item;
  }));
  const out = [make("h3", "What can be played in its place"), make("p", "Untick what should stay as written."), list];
  if (changes.length > 1) out.splice(2, 0, allOrNone(list));
  return left ? [...out, make("p", left)] : out;
}

/** Two buttons that tick every change, or none of them. */
function allOrNone(list) {
  const row = make("p", "", { class: "row" });
  for (const [name, ticked] of [["Tick all", true], ["Tick none", false]]) {
    const button = make("button", name, { type: "button" });
    button.addEventListener("click", () => {
      for (const box of list.querySelectorAll("input")) box.checked = ticked;
      list.dispatchEvent(new Event("change"));
    });
    row.append(button);
  }
  return row;
}

/** Pictures of a measure as written, grey, and as changed. */
export function beforeAndAfter(found) {
  return [["As written", found.before, "was"], ["Changed", found.after, "now"]].map(([name, svg, kind]) => {
    const figure = make("figure", "", { class: kind }), drawn = picture(svg);
    // The same notes stand in the music view: only what the picture itself refers to keeps its name.
    for (const named of drawn.querySelectorAll("g[id]:not(defs g)")) named.removeAttribute("id");
    figure.append(make("figcaption", name), drawn);
    return figure;
  });
}

async function preview(place, look, shown) {
  if (!shown.childNodes.length) {
    try { shown.replaceChildren(...beforeAndAfter(await working((signal) => ask("/api/change", signal, { place })))); } catch (error) { failed(error); return; }
  }
  shown.hidden = !shown.hidden;
  look.setAttribute("aria-expanded", String(!shown.hidden));
}

/** A button for each horn that has what this one lacks. */
function hornsOf(found) {
  const names = [...new Set(found.findings.filter(({ severity }) => severity === "stop").flatMap(({ remedies }) => remedies.flatMap(({ horns }) => horns ?? [])))];
  const known = page.start.horns.filter(({ name }) => names.includes(name) && name !== found.horn);
  const pulls = found.findings.filter(({ severity, remedies }) => severity === "stop" && remedies.some(({ kind }) => kind === "tune"));
  if (!known.length && !pulls.length) return [];
  const row = make("p", "", { class: "row", id: "other-horns" });
  if (pulls.length) {
    const { index, remedies } = pulls[0], cents = remedies.find(({ kind }) => kind === "tune").tune_cents;
    const button = make("button", `Pull the attachment ${cents > 100 ? "a little past" : "to"} E`, { type: "button" });
    button.addEventListener("click", () => tell("pull", index));
    row.append(button);
  }
  row.append(...known.map(({ name, description }) => {
    const button = make("button", `Use the ${description[0].toLowerCase()}${description.slice(1)}`, { type: "button" });
    button.addEventListener("click", () => change({ horn: name }, "Another horn."));
    return button;
  }));
  return [make("h3", pulls.length ? "Or another slide or horn" : "Or another horn"), row];
}

async function apply() {
  try {
    const found = await working(async (signal) => (await post("/api/apply", question({ refuse: refusedOf(), keep: !page.score.private }), signal)).json());
    tell("rewritten", found);
  } catch (error) { failed(error); }
}

const refusedOf = () => [...document.querySelectorAll("#changes input:not(:checked)")].map((box) => box.value);

export async function showReview(signal, current) {
  const found = await ask("/api/review", signal);
  if (!current()) return;
  const horn = $("horn").selectedOptions[0]?.textContent.replace(" (assumed)", "") ?? "", several = found.page.lines.length > 1;
  const out = [make("h2", `Review: ${$("part").selectedOptions[0]?.textContent ?? ""} on ${horn}`)];
  $("review-said").textContent = found.page.said;
  for (const { line, findings } of found.page.lines) {
    if (several) out.push(make("h3", `Player ${line} of ${found.page.lines.length}`));
    if (several && !findings.length) out.push(make("p", "Nothing found."));
    out.push(...findingsOf(findings, { part: state().part, line }, several ? "h4" : "h3"));
  }
  if (found.page.problems.length) out.push(make("h3", "About the file"), listOf("ul", found.page.problems));
  const ways = [];
  if (found.page.changes.length) {
    ways.push(...changesOf(found.page));
    const row = make("p", "", { class: "row" }), now = make("button", "Change the ticked notes", { type: "button", id: "apply", class: "strong" }), button = make("button", "Save the score with notes that can be played", { type: "button", id: "playable" });
    now.addEventListener("click", apply);
    button.addEventListener("click", () => savedAs(button, () => working((ended) => post("/api/playable", question({ refuse: refusedOf() }), ended))));
    row.append(now, button);
    ways.push(row);
    const list = ways.find(({ id }) => id === "changes");
    list.addEventListener("change", () => { now.disabled = button.disabled = !list.querySelector("input:checked"); });
  }
  // What can be done stands before the findings one by one.
  out.splice(1, 0, ...ways, ...hornsOf(found));
  $("view-review").replaceChildren(...out, cautionsOf(found.cautions));
}
