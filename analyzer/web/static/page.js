// The page: what is asked lives here as a list of states (for undo), the server answers each state anew.

import { Music, picture, spoken } from "./music.js";
import { $, Refused, call, choiceButton, fail, make, playerGiven, saved, say, tableOf } from "./pieces.js";

const KEPT = "lowbrass";
let start = { samples: [], horns: [], ceilings: [], limit_mib: 32 };
let score = null;      // {session, file, title, parts, sample}
let states = [];
let at = -1;
let answer = null;
let chosen = null;     // index of the note whose choices are shown
let asking = null;     // the question on its way
let upload = null;     // the file, to open it again if the server has let it go
const music = new Music($("music"), (index, byKey) => openChoices(index, byKey));

// --- small helpers ------------------------------------------------------------------------------------------------

const state = () => states[at];
const same = (a, b) => JSON.stringify(a) === JSON.stringify(b);

function keep() {
  if (!score) return;
  const all = { score, states: states.slice(-60), at: at - Math.max(0, states.length - 60), size: $("size").value };
  try { sessionStorage.setItem(KEPT, JSON.stringify(all)); } catch { /* full: a reload then starts anew */ }
}

// --- opening a score ----------------------------------------------------------------------------------------------

async function openFile(file, again = false) {
  fail("");
  if (file.size > start.limit_mib * 2 ** 20) {
    fail(`${file.name} has ${Math.round(file.size / 2 ** 20)} MiB, more than a score needs (limit ${start.limit_mib} MiB). Export only the low-brass parts, or split the score.`);
    return;
  }
  busy(true);
  try {
    const reply = await call("/api/open", { method: "POST", body: file, headers: { "X-File-Name": encodeURIComponent(file.name), "Content-Type": "application/octet-stream" } });
    upload = file;
    await opened({ ...(await reply.json()), sample: null }, again);
  } catch (error) { failed(error); } finally { busy(false); }
}

async function openSample(name, again = false) {
  fail("");
  busy(true);
  try {
    const reply = await call(`/api/open?sample=${encodeURIComponent(name)}`, { method: "POST" });
    upload = null;
    await opened({ ...(await reply.json()), sample: name }, again);
  } catch (error) { failed(error); } finally { busy(false); }
}

async function opened(found, again) {
  const stay = again || (score && score.lost && score.file === found.file);
  score = found;
  if (!stay) {
    const part = found.parts[0];
    states = [{ part: part.id, line: 1, horn: "", from: "", to: "", tempo: null, player: states.length ? state().player : {}, pins: [] }];
    at = 0;
    chosen = null;
  }
  show();
  await solve();
  if (!stay) say(`${found.file} is open.`);
}

function failed(error) {
  if (error.name === "AbortError") return;
  if (error instanceof Refused && error.status === 404 && score) {
    score.lost = true;
    if (upload) { openFile(upload, true); return; }
    if (score.sample) { openSample(score.sample, true); return; }
  }
  fail(error instanceof Refused ? error.message : `Something went wrong on this page: ${error.message}. Load it again.`);
}

function show() {
  $("start").hidden = true;
  $("work").hidden = false;
  $("another").hidden = false;
  $("title").textContent = score.title || score.file;
  document.title = `${score.title || score.file} · lowbrass`;
  const low = score.parts.filter((part) => part.low_brass), rest = score.parts.filter((part) => !part.low_brass);
  const options = (parts) => parts.map((part) => make("option", part.name, { value: part.id }));
  $("part").replaceChildren(...options(low));
  if (rest.length) {
    const group = make("optgroup", "", { label: "Other parts" });
    group.append(...options(rest));
    $("part").append(group);
  }
}

// --- asking -------------------------------------------------------------------------------------------------------

function question() {
  const width = Math.max(300, $("music").clientWidth || 900) / Number($("size").value);
  return { ...state(), session: score.session, width: Math.round(width) };
}

function busy(on) {
  clearTimeout(busy.timer);
  if (on) busy.timer = setTimeout(() => { $("busy").hidden = false; }, 300);
  else $("busy").hidden = true;
  $("music").setAttribute("aria-busy", String(on));
}

async function solve(done = "") {
  asking?.abort();
  const mine = asking = new AbortController();
  busy(true);
  fill();
  keep();
  try {
    const found = await ask("/api/plan", mine);
    if (mine !== asking) return;
    fail("");
    const moved = take(found, done);
    const engraved = await ask("/api/music", mine).catch((error) => {
      // Without an engraver the plan stands all the same, as words.
      if (error instanceof Refused && error.status === 400) { fail(error.message); return { svg: "" }; }
      throw error;
    });
    if (mine !== asking) return;
    music.show(engraved.svg, found.notes, moved);
    music.choose(chosen);
    performance.mark("lowbrass-engraved");
    if ($("picture").open) await pictures(mine);
  } catch (error) {
    if (mine === asking) {
      failed(error);
      if (error.status === 400) back();
    }
  } finally {
    if (mine === asking) busy(false);
  }
}

/** A question that cannot be answered is not kept: the last good one stands. */
function back() {
  if (at <= 0) return;
  states.splice(at, 1);
  at -= 1;
  fill();
  keep();
}

async function ask(path, mine) {
  const reply = await call(path, { method: "POST", body: JSON.stringify(question()), headers: { "Content-Type": "application/json" }, signal: mine.signal });
  return reply.json();
}

async function pictures(mine) {
  const drawn = await ask("/api/pictures", mine);
  if (mine === asking) $("pictures").replaceChildren(...drawn.pictures.map(picture));
}

function change(part, done = "") {
  const next = { ...state(), ...part };
  if (same(next, state())) return;
  states = [...states.slice(0, at + 1), next];
  at = states.length - 1;
  solve(done);
}

function step(by) {
  if (at + by < 0 || at + by >= states.length) return;
  at += by;
  solve(by < 0 ? "Undone." : "Done again.");
}

function take(found, done) {
  const old = answer;
  const comparable = old && old.part === found.part && old.line === found.line && old.horn === found.horn;
  const before = new Map(comparable ? old.notes.map((note) => [note.refs[0], note.shown]) : []);
  const moved = new Set();
  found.notes.forEach((note, index) => {
    if (before.has(note.refs[0]) && before.get(note.refs[0]) !== note.shown) moved.add(index);
  });
  // The chosen note is found again by its place in the part: other measures may be shown now.
  const chosenRef = chosen !== null && comparable ? old.notes[chosen]?.refs[0] : null;
  answer = found;
  chosen = chosenRef === null ? null : found.notes.findIndex((note) => note.refs[0] === chosenRef);
  if (chosen === -1) chosen = null;
  if (comparable && old.measures.first === found.measures.first && old.measures.last === found.measures.last) music.relabel(found.notes, moved);
  if (chosen === null) closeChoices(false);
  else { music.choose(chosen); fillChoices(); }
  fill();
  facts();
  performance.mark("lowbrass-shown");
  if (done) say(`${done} ${moved.size === 1 ? "1 mark" : `${moved.size} marks`} changed.`);
  return moved;
}

// --- the settings -------------------------------------------------------------------------------------------------

function fill() {
  const now = state();
  $("part").value = now.part;
  $("undo").disabled = at <= 0;
  $("redo").disabled = at >= states.length - 1;
  for (const [id, value] of [["from", now.from], ["to", now.to], ["outermost", now.player.outermost_position ?? ""], ["reach", now.player.reach_mm ?? ""],
    ["limit", now.player.attachment_ceiling ?? "C3"], ["speed", now.player.max_slide_speed_mm_s ?? ""], ["low", now.player.low ?? ""], ["high", now.player.high ?? ""]]) {
    if (document.activeElement !== $(id)) $(id).value = value;
  }
  if (!answer) return;
  const fits = start.horns.filter((horn) => horn.family === answer.family);
  const usual = start.horns.find((horn) => horn.name === (score.parts.find((part) => part.id === now.part)?.horn || "tenor-f"));
  $("horn").replaceChildren(make("option", `Assumed: ${usual?.description ?? answer.horn}`, { value: "" }), ...fits.map((horn) => make("option", horn.description, { value: horn.name })));
  $("horn").value = now.horn;
  $("line-field").hidden = answer.lines.length < 2;
  $("line").replaceChildren(...answer.lines.map((line) => make("option", `${line.line} of ${line.of}`, { value: line.line })));
  $("line").value = now.line;
  $("from").placeholder = answer.measures.first;
  $("to").placeholder = answer.measures.last;
  tempo(now.tempo);
}

function tempo(asked) {
  const { marked, ceiling } = answer.tempo;
  const shown = asked ?? marked[0] ?? 120;
  const range = $("tempo");
  range.max = Math.max(260, Math.ceil(shown));
  if (document.activeElement !== range || asked === null) range.value = shown;
  tempoSaid(asked);
  $("tempo-marked").hidden = asked === null;
  $("ceiling").textContent = ceiling === null ? "No move here sets a limit." :
    `Ceiling about ${Math.floor(ceiling)}` + (answer.tempo.hardest.length ? `, set by ${answer.tempo.hardest[0]}` : "") + ". Quarter notes a minute.";
  const mark = $("ceiling-mark");
  const share = ceiling === null ? 2 : (ceiling - range.min) / (range.max - range.min);
  mark.hidden = share < 0 || share > 1;
  // The slider's knob is 16 px wide: its middle travels from 8 px to 8 px before the end.
  if (!mark.hidden) mark.style.left = `calc(8px + (100% - 16px) * ${share.toFixed(4)} - 1px)`;
}

function tempoSaid(asked) {
  const { marked, ceiling } = answer.tempo;
  const above = ceiling !== null && (asked ?? Math.max(...marked)) > ceiling;
  const text = asked !== null ? `${Math.round(asked)}` : `as marked: ${marked.length > 3 ? `${marked[0]} to ${marked[marked.length - 1]}` : marked.join(", ")}`;
  $("tempo").setAttribute("aria-valuetext", text);
  $("tempo-said").textContent = text + (above ? " (above the ceiling)" : "");
  $("tempo").closest(".tempo").classList.toggle("above", above);
}

// --- the choices of one note --------------------------------------------------------------------------------------

function openChoices(index, byKey = false) {
  chosen = index;
  const wasOpen = !$("choices").hidden;
  $("choices").hidden = false;
  $("stage").classList.add("open");
  fillChoices();
  music.choose(index);
  if (byKey) ($("list").querySelector("[aria-pressed=true]") || $("note")).focus({ preventScroll: true });
  if (!wasOpen && window.matchMedia("(min-width: 64rem)").matches) resized();
  music.reveal(index, covered());
}

function covered() {
  const narrow = !window.matchMedia("(min-width: 64rem)").matches;
  return narrow && !$("choices").hidden ? $("choices").offsetHeight : 0;
}

function closeChoices(focus = true) {
  const index = chosen;
  const wasOpen = !$("choices").hidden;
  chosen = null;
  $("choices").hidden = true;
  $("stage").classList.remove("open");
  music.choose(null);
  if (focus && index !== null) music.focus(index);
  if (wasOpen && focus && window.matchMedia("(min-width: 64rem)").matches) resized();
}

function fillChoices() {
  const note = answer.notes[chosen];
  const focused = $("choices").contains(document.activeElement) ? document.activeElement.dataset?.label ?? document.activeElement.id : null;
  const sounding = note.sounding === note.written ? "" : ` (sounds ${note.sounding})`;
  $("note").textContent = `Measure ${note.measure}, note ${note.nth}: ${note.written}${sounding}`;
  $("now").textContent = note.problem || note.why.join(" ");
  const ways = answer.ways[note.midi];
  const weighed = note.prices.map(([label, cost], place) => {
    const way = ways.find((one) => one.label === label);
    const travel = note.way[place];
    const more = travel === null ? "" : `Slide travel before and after: ${Math.round(travel / 10)} cm.`;
    return choiceButton(note, way, cost === 0 ? "best here" : `costs ${cost.toFixed(1)} more`, more, place === 0, pin);
  });
  $("list").replaceChildren(...weighed);
  const named = new Set(note.prices.map(([label]) => label));
  const others = ways.filter((way) => !named.has(way.label));
  $("others").hidden = !others.length;
  $("other-list").replaceChildren(...others.map((way) => choiceButton(note, way, way.against || "not weighed here", "", false, pin)));
  $("costs").hidden = note.prices.length < 2;
  $("costs").textContent = answer.family === "slide" ? "Costs count for the whole passage; 1 is as hard as 1 cm of unhurried slide." : "Costs count for the whole passage; more is harder.";
  $("unpin").hidden = !note.pinned;
  $("before").disabled = chosen === 0;
  $("after").disabled = chosen === answer.notes.length - 1;
  if (focused !== null) {
    const again = [...$("choices").querySelectorAll("[data-label]")].find((one) => one.dataset.label === focused) || $(focused || "note");
    (again && !again.hidden && !again.disabled ? again : $("note")).focus({ preventScroll: true });
  }
}

function pin(label) {
  const note = answer.notes[chosen], now = state();
  const others = now.pins.filter((one) => !(one.part === now.part && one.line === now.line && one.ref === note.refs[0]));
  performance.mark("lowbrass-pinned");
  if (label === null) { change({ pins: others }, "The plan chooses again."); return; }
  const mine = { part: now.part, line: now.line, ref: note.refs[0], label, measure: note.measure, nth: note.nth, written: note.written };
  change({ pins: [...others, mine] }, `${spoken(label)} is pinned in measure ${note.measure}, note ${note.nth}.`);
}

// --- what else there is to say ------------------------------------------------------------------------------------

function facts() {
  $("heading").textContent = answer.heading;
  $("summary").textContent = answer.summary;
  $("count").textContent = answer.unplayable ? `${answer.unplayable} of ${answer.notes.length} notes cannot be played` : `${answer.notes.length} notes`;
  const troubles = answer.notes.filter((note) => note.problem).map((note) => `Measure ${note.measure}, note ${note.nth}: ${note.problem}`);
  $("problems").replaceChildren(...[...troubles, ...answer.problems].map((text) => make("li", text)));
  $("cautions").replaceChildren(...answer.cautions.map((text) => make("li", text)));
  $("picture-name").textContent = answer.family === "slide" ? "How the slide moves" : "How the valves move";
  pins();
  if ($("table").open) $("table").querySelector(".scroll").replaceChildren(tableOf(answer.notes));
}

function pins() {
  const now = state();
  const mine = now.pins.filter((one) => one.part === now.part);
  $("pins").hidden = !mine.length;
  $("misfits").hidden = !answer.misfits.length;
  $("misfits").textContent = `${answer.misfits.length} of them cannot be played on this horn and wait until it is changed.`;
  $("pins").querySelector("ul").replaceChildren(...mine.map((one) => {
    const item = make("li");
    const where = `${one.line > 1 || answer.lines.length > 1 ? `player ${one.line}, ` : ""}measure ${one.measure}, note ${one.nth}`;
    const go = make("button", `${where}: ${one.label.replace("#", "♯")}`, { type: "button" });
    go.addEventListener("click", () => {
      const index = one.line === now.line ? answer.notes.findIndex((note) => note.refs[0] === one.ref) : -1;
      if (index >= 0) { openChoices(index); music.focus(index); }
      else change({ line: one.line, from: "", to: "" });
    });
    const drop = make("button", "×", { type: "button", "aria-label": `Remove: ${where}` });
    drop.addEventListener("click", () => change({ pins: state().pins.filter((other) => !same(other, one)) }, "Removed."));
    item.append(go, drop);
    return item;
  }));
}

async function download(ending, button) {
  button.disabled = true;
  say("Making the file.");
  try {
    const reply = await call("/api/file", { method: "POST", body: JSON.stringify({ ...question(), ending }), headers: { "Content-Type": "application/json" } });
    const name = await saved(reply, `part${ending}`);
    fail("");
    say(`${name} is made.`);
  } catch (error) { failed(error); } finally { button.disabled = false; button.focus(); }
}

// --- what the user does -------------------------------------------------------------------------------------------

function resized() {
  if (!score || at < 0 || !answer) return;
  solve();
}

for (const id of ["file", "file-again"]) {
  $(id).addEventListener("change", (event) => { const file = event.target.files[0]; event.target.value = ""; if (file) openFile(file); });
}
document.addEventListener("dragover", (event) => { event.preventDefault(); document.body.classList.add("over"); });
document.addEventListener("dragleave", (event) => { if (!event.relatedTarget) document.body.classList.remove("over"); });
document.addEventListener("drop", (event) => {
  event.preventDefault();
  document.body.classList.remove("over");
  const files = event.dataTransfer?.files ?? [];
  if (files.length === 1) openFile(files[0]);
  else fail(files.length ? "Drop one score at a time." : "That was no file. Drop a MusicXML file.");
});
$("settings").addEventListener("submit", (event) => event.preventDefault());
$("part").addEventListener("change", () => { chosen = null; change({ part: $("part").value, line: 1, horn: "", from: "", to: "" }, "Another part."); });
$("line").addEventListener("change", () => change({ line: Number($("line").value) }, "Another player."));
$("horn").addEventListener("change", () => change({ horn: $("horn").value }, "Another horn."));
for (const id of ["from", "to"]) $(id).addEventListener("change", () => change({ from: $("from").value.trim(), to: $("to").value.trim() }, "Other measures."));
for (const id of ["outermost", "reach", "limit", "speed", "low", "high"]) $(id).addEventListener("change", () => change({ player: playerGiven() }, "Another player."));
$("tempo").addEventListener("input", () => tempoSaid(Number($("tempo").value)));
$("tempo").addEventListener("change", () => change({ tempo: Number($("tempo").value) }, `Tempo ${$("tempo").value}.`));
$("tempo-marked").addEventListener("click", () => { change({ tempo: null }, "Tempo as marked."); $("tempo").focus(); });
$("size").addEventListener("change", () => solve());
$("undo").addEventListener("click", () => step(-1));
$("redo").addEventListener("click", () => step(1));
$("close").addEventListener("click", () => closeChoices());
$("unpin").addEventListener("click", () => pin(null));
$("before").addEventListener("click", () => openChoices(chosen - 1));
$("after").addEventListener("click", () => openChoices(chosen + 1));
$("print").addEventListener("click", () => window.print());
$("picture").addEventListener("toggle", () => { if ($("picture").open && answer && asking) pictures(asking).catch(failed); });
$("table").addEventListener("toggle", () => { if ($("table").open && answer) $("table").querySelector(".scroll").replaceChildren(tableOf(answer.notes)); });
for (const button of document.querySelectorAll("[data-ending]")) button.addEventListener("click", () => download(button.dataset.ending, button));
$("choices").addEventListener("keydown", (event) => {
  if (event.key === "Escape") { event.preventDefault(); closeChoices(); return; }
  if (event.key !== "ArrowDown" && event.key !== "ArrowUp") return;
  const all = [...$("choices").querySelectorAll(".choice")].filter((one) => one.offsetParent);
  const here = all.indexOf(document.activeElement);
  const next = all[here + (event.key === "ArrowDown" ? 1 : -1)] ?? (here < 0 ? all[0] : null);
  if (next) { event.preventDefault(); next.focus(); }
});
document.addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || event.target.matches("input:not([type=range])")) return;
  const letter = event.key.toLowerCase();
  if (letter === "z" && !event.shiftKey) { event.preventDefault(); step(-1); }
  else if (letter === "y" || (letter === "z" && event.shiftKey)) { event.preventDefault(); step(1); }
});
let width = window.innerWidth;
window.addEventListener("resize", () => {
  if (window.innerWidth === width) return;
  width = window.innerWidth;
  clearTimeout(resized.timer);
  resized.timer = setTimeout(resized, 250);
});

async function begin() {
  // On a phone the pictures are many screens long: they open when asked for.
  if (window.matchMedia("(max-width: 40rem)").matches) $("picture").open = false;
  try {
    start = await (await call("/api/start")).json();
  } catch (error) { failed(error); return; }
  $("limit").replaceChildren(...start.ceilings.map((one) => make("option", one.text, { value: one.value })));
  $("samples").hidden = !start.samples.length;
  $("samples").querySelector("ul").replaceChildren(...start.samples.map((sample) => {
    const item = make("li"), button = make("button", sample.name, { type: "button" });
    button.addEventListener("click", () => openSample(sample.file));
    item.append(button);
    return item;
  }));
  let kept = null;
  try { kept = JSON.parse(sessionStorage.getItem(KEPT)); } catch { /* nothing kept */ }
  if (kept?.score && kept.states?.[kept.at]) {
    ({ score, states, at } = kept);
    $("size").value = kept.size || "1";
    show();
    await solve();
  }
}
begin();
