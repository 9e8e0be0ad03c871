// The section: who sits in the low brass, entered in a form or read from a file, and whether this piece suits it.

import { ask, keepDesk, page, failed, on, post, question, savedAs, send, tell, working } from "./state.js";
import { $, Refused, headline, listOf, make, say } from "./pieces.js";
import { playerNamed } from "./people.js";
import { cautionsOf, findingsOf, wayTo } from "./review.js";
import { list, listed } from "./settings.js";

// Key of the section file, label, kind, hint; what stands behind `null` is under "More".
const FIELDS = [
  ["name", "Name, chair or initials", "text", "Chair 1"],
  ["horns", "Horns, first choice first", "horns"],
  ["level", "Level", "choice", ["", "beginner", "intermediate", "advanced"]],
  ["low", "Lowest secure note", "text", "E2"],
  ["high", "Highest secure note", "text", "F4"],
  ["outermost_position", "Outermost position", "choice", ["", 3, 4, 5, 6, 7]],
  null,
  ["reach_mm", "or reach, in mm", "number"],
  ["height_cm", "or height, in cm", "number"],
  ["attachment_ceiling", "Attachment up to (none: no limit)", "text", "C3"],
  ["max_slide_speed_mm_s", "Greatest slide speed, mm/s", "number"],
  ["slide_acceleration_m_s2", "Slide acceleration, m/s² (student 20, expert 60)", "number"],
  ["tongue_notes_s", "Tongued notes a second", "number"],
  ["slur_notes_s", "Lip-slurred notes a second", "number"],
  ["valve_notes_s", "Valve changes a second", "number"],
  ["learned", "Valves learned, such as T, TS", "list"],
  ["cannot", "Valves the hand cannot press", "list"],
  ["attachment_in_tune", "In tune on the attachment in 1st", "choice", ["", "F2", "C3"]],
  ["clefs", "Clefs read, such as bass, tenor", "list"],
  ["extreme_low", "Lowest for a note or two", "text"],
  ["extreme_high", "Highest for a note or two", "text"],
  ["endurance_minutes", "Minutes until tired", "number"],
  ["just_strength", "Share of pure tuning, 0 to 1", "number"],
  ["measured", "One measured place of the slide", "text", "C3 6 496mm"],
  ["just_from_s", "Pure tuning from notes of so many seconds", "number"],
  ["instrument", "Instrument, in place of horns", "choice",
    ["", "tenor-saxophone", "bass-clarinet", "bassoon", "tuba", "cello"]],
  ["absent", "Absent", "choice", ["", true]],
  ["keeps", "Stays on parts for", "choice", ["", "trombone", "bass trombone", "euphonium", "baritone"]],
];
let section = { players: [], spare: [] };
// To start from: seats and horns alone; what each player can do is for the director to say.
const READY = {
  "a school section of 4": [["tenor"], ["tenor-f"], ["tenor-f"], ["euphonium-3"]],
  "a brass band": [["tenor-f"], ["tenor-f"], ["bass-independent"], ["euphonium-4-compensating"], ["euphonium-4-compensating"]],
  "an orchestra's three": [["tenor-f"], ["tenor-f"], ["bass-independent"]],
};
let removed = null;      // the player taken out last, and the place
let at = "My section";   // the name of the section at hand
let dropped = null;      // the section forgotten last

// --- several sections ---------------------------------------------------------------------------------------------

/** Every section that is kept, by name; the one at hand as it is now. */
const all = () => ({ ...page.desk.sections, [at]: section });

function fillNames() {
  const names = Object.keys(all());
  $("section-which").replaceChildren(...names.map((name) => make("option", name, { value: name })));
  $("section-which").value = at;
  if (document.activeElement !== $("section-name")) $("section-name").value = at;
  $("section-drop").hidden = names.length < 2 && !filled();
  $("section-undrop").hidden = !dropped;
  $("section-undrop").textContent = dropped ? `Undo: forget ${dropped.name}` : "";
}

/** Take up a section under its name; `sections` are all there are then. */
function takeUp(name, sections, done) {
  at = name;
  section = { players: sections[name].players ?? [], spare: sections[name].spare ?? [] };
  if (!section.players.length) section.players = empty();
  removed = null;
  keepDesk({ sections, section, at });
  old();
  fillForm();
  fillNames();
  mistakes([]);
  $("section-fold").open = true;
  tell("section");
  say(done);
}

/** A name that no section has yet. */
function free(wanted) {
  const names = Object.keys(all());
  for (let nth = 1; ; nth += 1) { const name = nth === 1 ? wanted : `${wanted} ${nth}`; if (!names.includes(name)) return name; }
}

const empty = () => [1, 2, 3].map((nth) => ({ name: `Chair ${nth}`, horns: [] }));

$("section-which").addEventListener("change", () => {
  const checked = !$("verdict").hidden;
  takeUp($("section-which").value, all(), `The section is ${$("section-which").value}.`);
  // Where a verdict stands, the other section's is wanted, too.
  if (checked && filled()) check(false);
});
$("section-new").addEventListener("click", () => {
  const name = free("Another section");
  takeUp(name, { ...all(), [name]: { players: empty(), spare: [] } }, "A new section.");
  $("section-name").focus();
  $("section-name").select();
});
$("section-name").addEventListener("input", () => {
  const name = $("section-name").value.trim(), others = all();
  delete others[at];
  if (!name || name in others) return;
  at = name;
  keepDesk({ sections: { ...others, [at]: section }, section, at });
  fillNames();
});
$("section-name").addEventListener("blur", fillNames);
$("section-drop").addEventListener("click", () => {
  const left = all();
  dropped = { name: at, section };
  delete left[at];
  const next = Object.keys(left)[0] ?? "My section";
  takeUp(next, { ...left, [next]: left[next] ?? { players: [], spare: [] } }, `${dropped.name} is forgotten.`);
  $("section-undrop").focus();
});
$("section-undrop").addEventListener("click", () => {
  const { name, section: back } = dropped;
  dropped = null;
  takeUp(name, { ...all(), [name]: back }, `${name} is there again.`);
  $("section-which").focus();
});

/** The horns to choose from: those of one's own last, as few have one. */
const listedHorns = () => [...page.start.horns.filter(({ own }) => !own), ...page.start.horns.filter(({ own }) => own)];

/** Whether there is anybody with a horn in the section. */
const filled = () => section.players.some(({ horns }) => horns?.length);

// --- the form -----------------------------------------------------------------------------------------------------

const idOf = (nth, key) => `member-${nth}-${key}`;

function options(values, chosen) {
  return values.map((value) => {
    const horn = page.start.horns.find(({ name }) => name === value);
    const option = make("option", horn ? horn.description : value === "" ? "not given" : value === true ? "yes" : String(value).replaceAll("-", " "), { value });
    option.selected = String(value) === String(chosen ?? "");
    return option;
  });
}

function fieldOf(player, nth, [key, label, kind, more]) {
  const box = make("div", "", { class: kind === "horns" ? "field horns" : "field" }), id = idOf(nth, key);
  if (kind === "horns") { box.append(...hornsOf(player, nth, label)); return box; }
  const input = make(kind === "choice" ? "select" : "input", "", { id });
  if (kind === "choice") input.append(...options(more, player[key]));
  else {
    if (kind === "number") Object.assign(input, { type: "number", min: "0", step: "any" });
    if (more) input.placeholder = more;
    input.value = listed(player[key] ?? "");
  }
  // Kept as one types: nothing is lost where the page closes in the middle of it.
  input.addEventListener("input", () => {
    const text = input.value.trim();
    if (text === "") delete player[key];
    else player[key] = kind === "list" ? list(text) : kind === "number" || key === "outermost_position" ? Number(text)
      : key === "absent" ? true : text;
    changed();
  });
  box.append(make("label", label, { for: id }), input);
  return box;
}

function hornsOf(player, nth, label) {
  const names = ["", ...listedHorns().map((horn) => horn.name)], horns = player.horns ??= [];
  const count = Math.min(names.length - 1, horns.length + 1);
  return Array.from({ length: count }, (_, place) => {
    const id = idOf(nth, place ? `horns-${place}` : "horns");
    const select = make("select", "", { id });
    select.append(...options(names, horns[place]));
    select.options[0].textContent = place ? "no other" : "choose a horn";
    select.addEventListener("change", () => {
      horns[place] = select.value;
      player.horns = [...new Set(horns.filter(Boolean))];
      changed();
      fillForm(id);
    });
    const pair = make("p");
    pair.append(make("label", place ? "or" : label, { for: id, class: place ? "hidden" : "" }), select);
    return pair;
  });
}

function memberOf(player, nth) {
  const box = make("fieldset", "", { class: "member" });
  const fields = make("div", "", { class: "row fields-row" }), more = make("details"), rest = make("div", "", { class: "row fields-row" });
  const cut = FIELDS.indexOf(null);
  fields.append(...FIELDS.slice(0, cut).map((field) => fieldOf(player, nth, field)));
  rest.append(...FIELDS.slice(cut + 1).map((field) => fieldOf(player, nth, field)));
  more.append(make("summary", "More about this player"), rest);
  more.open = FIELDS.slice(cut + 1).some(([key]) => player[key] !== undefined);
  const drop = make("button", `Remove player ${nth + 1}`, { type: "button", class: "quiet" });
  drop.addEventListener("click", () => {
    removed = { nth, player: section.players.splice(nth, 1)[0] };
    changed();
    fillForm();
    say(`Player ${nth + 1} is removed.`);
    $(section.players.length ? idOf(Math.min(nth, section.players.length - 1), "name") : "member-add").focus();
  });
  box.append(make("legend", `Player ${nth + 1}`), fields, more, drop);
  return box;
}

function fillForm(focus = "") {
  $("member-back").hidden = !removed;
  $("member-back").textContent = removed ? `Put ${removed.player.name || "the player"} back` : "";
  $("members").replaceChildren(...section.players.map(memberOf));
  $("spare").replaceChildren(...listedHorns().map((horn) => {
    const label = make("label"), box = make("input", "", { type: "checkbox", value: horn.name });
    box.checked = section.spare.includes(horn.name);
    box.addEventListener("change", () => {
      section.spare = [...$("spare").querySelectorAll("input:checked")].map(({ value }) => value);
      changed();
    });
    label.append(box, ` ${horn.description}`);
    return label;
  }));
  if (focus) $(focus)?.focus();
}

function changed() {
  keepDesk({ section, sections: all(), at });
  old();
  tell("section");
}

function old() {
  $("fitted").classList.add("old");
  $("fit-old").hidden = !$("fitted").childNodes.length;
}

function take(form, done) {
  section = { players: form.players, spare: form.spare ?? [] };
  removed = null;
  changed();
  fillForm();
  mistakes([]);
  $("section-fold").open = true;
  say(done);
}

/** Show each mistake with its field; the first field gets the focus. */
function mistakes(found) {
  for (const old of $("members").querySelectorAll("[aria-invalid]")) { old.removeAttribute("aria-invalid"); old.removeAttribute("aria-describedby"); }
  $("mistakes").hidden = !found.length;
  $("mistakes").replaceChildren(...found.map(({ player, key, line }, nth) => {
    const item = make("li", line, { id: `mistake-${nth}` });
    const field = player === null ? null : $(idOf(player, key ?? "horns"));
    field?.setAttribute("aria-invalid", "true");
    field?.setAttribute("aria-describedby", item.id);
    return item;
  }));
  const first = $("members").querySelector("[aria-invalid]");
  if (first?.closest("details")) first.closest("details").open = true;
  first?.focus();
}

// --- the verdict --------------------------------------------------------------------------------------------------

function seatsOf({ seats, unfilled, seats_heading: heading }) {
  const table = make("table"), head = make("tr"), top = make("thead"), body = make("tbody");
  table.append(make("caption", heading));
  head.append(...["Part", "Player", "Horn", "How it goes"].map((name) => make("th", name, { scope: "col" })));
  top.append(head);
  const rows = [...seats.map(({ part, player, horn, goes }) => [part, player, horn, goes]), ...unfilled.map(({ part, why }) => [part, "nobody", "–", why])];
  for (const [part, ...cells] of rows) {
    const row = make("tr");
    row.append(make("th", part, { scope: "row" }), ...cells.map((text) => make("td", text)));
    body.append(row);
  }
  table.append(top, body);
  const scroll = make("div", "", { class: "scroll", tabindex: "0", role: "region", "aria-label": "Who plays what" });
  scroll.append(table);
  return scroll;
}

/** Where the music of a seat is, and for whom it is shown: the player who sits there, on the horn of the seat. */
function whereOf({ part_id: part, line, member, horn_name: horn }) {
  return { part, line, ...(horn === null ? {} : { horn, player: playerNamed(section, member) }) };
}

/** What to rehearse first, each measure with the way to its music. */
function firstOf({ first, seats }) {
  const list = make("ol", "", { class: "first" });
  list.append(...first.places.map(({ measure, seat, index, said }) => {
    const item = make("li");
    item.append(wayTo(measure, index, whereOf(seats[seat])), ` ${said}`);
    return item;
  }));
  return [make("h3", "What to rehearse first"), make("p", first.lead, { class: "small" }), ...(first.places.length ? [list] : [])];
}

function shownFit({ verdict, page: shown, cautions }) {
  const out = [];
  $("verdict").className = `verdict ${verdict.replaceAll(" ", "-")}`;
  headline($("verdict"), shown.said);
  $("verdict").hidden = false;
  $("verdict-why").replaceChildren(...(shown.stops.length ? [listOf("ul", shown.stops)] : []));
  if (shown.changes.length) out.push(make("h3", shown.changes_heading), listOf("ol", shown.changes));
  if (shown.then.length) out.push(make("h3", "Then"), listOf("ul", shown.then));
  out.push(seatsOf(shown));
  if (shown.handed.length) out.push(make("h3", "Phrases handed over"), listOf("ul", shown.handed));
  out.push(...firstOf(shown));
  if (shown.remarks.length) out.push(make("h3", "Notes"), listOf("ul", shown.remarks));
  for (const seat of shown.seats.filter(({ findings }) => findings.length)) {
    const details = make("details");
    details.append(make("summary", seat.heading), ...findingsOf(seat.findings, whereOf(seat), "h4"));
    // What cannot be played as written is not for looking up.
    details.open = seat.findings.some(({ severity }) => severity === "stop");
    out.push(details);
  }
  if (shown.problems.length) out.push(make("h3", "About the file"), listOf("ul", shown.problems));
  return [...out, cautionsOf(cautions)];
}

async function fitted(signal, current) {
  const fit = await ask("/api/fit", signal, { section, pins: [] });
  if (!current()) return;
  $("fitted").replaceChildren(...shownFit(fit));
  $("fitted").classList.remove("old");
  $("fit-old").hidden = true;
  $("fit-keep").hidden = false;
  $("section-fold").open = false;
  const names = section.players.map(({ name }) => name).filter(Boolean);
  $("section-said").textContent = `The section: ${names.slice(0, 6).join(", ")}${names.length > 6 ? " and others" : ""}: change`;
}

/** A chair that nobody has said anything of is no player: it goes, where somebody else is there. */
function withoutEmptyChairs() {
  const said = (player) => player.horns?.length || !/^Chair \d+$/.test(player.name ?? "") || Object.keys(player).some((key) => key !== "name" && key !== "horns");
  const left = section.players.filter(said);
  if (!left.length || left.length === section.players.length) return;
  section.players = left;
  changed();
  fillForm();
}

async function check(to = true) {
  withoutEmptyChairs();
  mistakes([]);
  try {
    await working(async (signal, current) => {
      await fitted(signal, current);
      if (current() && to) { $("verdict").focus(); $("verdict").scrollIntoView({ block: "nearest" }); }
    });
  } catch (error) { wrong(error); }
}

function wrong(error) {
  if (error instanceof Refused && error.answer?.mistakes) mistakes(error.answer.mistakes);
  else failed(error);
}

/** Measures or tempo may have changed since the verdict: say that it is of before. */
export async function showSection(signal, current) {
  const asked = JSON.stringify([page.score.session, $("from").value, $("to").value, $("tempo").value]);
  if (showSection.asked !== undefined && showSection.asked !== asked) old();
  showSection.asked = asked;
  // The answer first: a section that is known already is checked without being asked.
  if (!filled() || $("fitted").childNodes.length) return;
  try { await fitted(signal, current); } catch (error) { if (error instanceof Refused) wrong(error); else throw error; }
}

$("section-form").addEventListener("submit", (event) => { event.preventDefault(); check(); });
$("member-add").addEventListener("click", () => {
  section.players.push({ name: `Chair ${section.players.length + 1}`, horns: [] });
  changed();
  fillForm(idOf(section.players.length - 1, "name"));
});
$("member-back").addEventListener("click", () => {
  const { nth, player } = removed;
  section.players.splice(nth, 0, player);
  removed = null;
  changed();
  fillForm(idOf(nth, "name"));
});
$("section-sample").addEventListener("click", () => take(structuredClone(page.start.section), "An invented section stands in the form."));
$("section-file").addEventListener("change", async (event) => {
  const file = event.target.files[0];
  event.target.value = "";
  if (!file) return;
  try { take(await send("/api/section/read", file), `${file.name} is read.`); } catch (error) { failed(error); }
});
$("section-save").addEventListener("click", () => { mistakes([]); savedAs($("section-save"), () => post("/api/section/write", section), wrong); });
$("fit-page").addEventListener("click", () => {
  mistakes([]);
  savedAs($("fit-page"), () => working((signal) => post("/api/fit", question({ section, pins: [], ending: ".html" }), signal)), wrong);
});
window.addEventListener("beforeprint", () => { for (const details of $("fitted").querySelectorAll("details")) details.open = true; });
on("opened", () => {
  $("fitted").replaceChildren();
  $("verdict-why").replaceChildren();
  $("fit-old").hidden = $("verdict").hidden = $("fit-keep").hidden = true;
  $("section-fold").open = true;
  $("section-said").textContent = "The section";
});
function begin() {
  section = { players: page.desk.section?.players ?? [], spare: page.desk.section?.spare ?? [] };
  if (!section.players.length) section.players = empty();
  at = page.desk.at ?? "My section";
  dropped = null;
  fillNames();
  $("section-sample").hidden = !page.start.section;
  removed = null;
  $("section-ready").replaceChildren(make("span", "Start from"), ...Object.entries(READY).map(([name, seats]) => {
    const button = make("button", name, { type: "button" });
    button.addEventListener("click", () => take({ players: seats.map((horns, nth) => ({ name: `Chair ${nth + 1}`, horns: [...horns] })) }, `The form holds ${name}.`));
    return button;
  }));
  fillForm();
}
on("started", begin);
on("horns", () => fillForm());
on("forgotten", () => { begin(); old(); });
