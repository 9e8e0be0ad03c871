// The page itself: notes to tap, controls, ladder, tuner, ticks. Everything it needs stands in the page.

const $ = (id) => document.getElementById(id);
const data = JSON.parse($("data").textContent);
const { notes } = data;
const calm = window.matchMedia("(prefers-reduced-motion: reduce)");
const slide = new Slide($("slide"));
let context = null, playing = null, chosen = 0, range = null, asking = null, tuner = null, recorder = null, stream = null;

// --- what is kept on this device -------------------------------------------------------------------------------------

const KEY = `lowbrass ${data.id}`;
let kept = { clean: [], ladder: null };
try { kept = { ...kept, ...JSON.parse(localStorage.getItem(KEY) ?? "{}") }; } catch { $("unkept").hidden = false; }
if (!Array.isArray(kept.clean)) kept.clean = [];
function keep() { try { localStorage.setItem(KEY, JSON.stringify(kept)); } catch { $("unkept").hidden = false; } }

// --- notes ------------------------------------------------------------------------------------------------------------

const byRef = new Map(notes.flatMap((note, index) => note.refs.map((ref) => [ref, index])));
const told = new Set();                  // notes whose mark was asked for while the marks are hidden
let lit = -1;
const sheet = new Sheet($("music"), (ref) => byRef.get(ref), (index, groups, marks) => {
  for (const group of groups) {
    group.setAttribute("role", "button");
    group.setAttribute("aria-label", notes[index].said);
    dress(index, group);
  }
  for (const mark of marks) mark.classList.toggle("told", told.has(index));
});

function dress(index, group) {
  group.setAttribute("tabindex", index === chosen ? "0" : "-1");
  group.classList.toggle("chosen", index === chosen);
  group.classList.toggle("sounds", index === lit);
  group.classList.toggle("ranged", range !== null && index >= range[0] && index <= range[1]);
}

function dressed(index) { for (const group of sheet.note(index).groups) dress(index, group); }

/** The music in the form that suits the screen and the print asked for. */
const broad = window.matchMedia("(min-width: 48rem)");
function fitted() { sheet.show(broad.matches ? "wide" : "narrow"); }
broad.addEventListener("change", () => { fitted(); sheet.fill(); });

$("music").addEventListener("click", (event) => {
  const index = sheet.nearest(event.clientX, event.clientY);
  if (index !== null) take(index);
});

function take(index, focus = true) {
  if (asking) { askRange(index); return; }
  const before = chosen;
  chosen = index;
  dressed(before);
  const { groups, marks } = sheet.brought(index);
  dressed(index);
  told.add(index);
  for (const mark of marks) mark.classList.add("told");
  $("note").textContent = notes[index].said;
  $("why").replaceChildren(...notes[index].why.map((text) => Object.assign(document.createElement("li"), { textContent: text })));
  if (!playing) { slide.show(notes[index].start_s, true); if (focus) groups[0]?.focus({ preventScroll: true }); }
}

// --- passage and loop -------------------------------------------------------------------------------------------------

function askRange(index) {
  if (asking.first === undefined) { asking.first = index; $("range").textContent = "Now tap the last note."; return; }
  range = [Math.min(asking.first, index), Math.max(asking.first, index)];
  asking = null;
  $("choose").setAttribute("aria-pressed", "false");
  $("loop").checked = true;
  showRange();
}

function showRange() {
  notes.forEach((_, index) => dressed(index));
  $("clear").disabled = range === null;
  $("range").textContent = range === null ? "The whole passage." :
    `${notes[range[0]].place} to ${notes[range[1]].place}.`;
  restart();
}

function passage() {
  const [first, last] = range ?? [0, notes.length - 1];
  const found = passageOf(notes, first, last);
  const whole = range === null;
  const begin_s = whole ? Math.min(0, found.begin_s) : found.begin_s;
  const end_s = whole && !notes[last + 1] ? Math.max(data.end_s, found.begin_s + found.length_s) : found.begin_s + found.length_s;
  return { first, last, begin_s, end_s, length_s: Math.max(0.2, end_s - begin_s) };
}

// --- playing ----------------------------------------------------------------------------------------------------------

const tempo = $("tempo");
function rate() { return Number(tempo.value) / data.beat.bpm; }
function showTempo() {
  $("tempo-said").textContent = `${data.beat.said} = ${tempo.value} (${Math.round(rate() * 100)} %)`;
}
tempo.addEventListener("input", () => { showTempo(); restart(); });

function from() {
  const all = passage();
  if (chosen > all.first && chosen <= all.last) return notes[chosen].start_s;
  return all.begin_s;
}

async function play(from_s = null) {
  if (playing) { stop(); return; }
  context ??= new AudioContext();
  await context.resume();
  const all = passage();
  playing = new Practice(context, data, all, {
    rate: rate(), loop: $("loop").checked, countIn: $("count").checked, clicks: $("clicks").checked,
    hear: $("hear").value, drone: droneMidi(), knob: Number($("loud").value), from_s: from_s ?? from(), ended: stop,
    round: (count) => { $("rounds").textContent = `${count} times through.`; } });
  $("play").textContent = "Stop";
  $("clean").disabled = false;
  document.body.classList.add("playing");
  frame();
}

function stop() {
  if (!playing) return;
  playing.stop();
  playing = null;
  $("play").textContent = "Play";
  document.body.classList.remove("playing");
  light(-1);
}

function restart() {
  if (!playing) return;
  const at_s = Math.max(passage().begin_s, playing.at_s), counted = $("count").checked;
  stop();
  $("count").checked = false;
  play(Math.min(at_s, passage().end_s - 0.05)).finally(() => { $("count").checked = counted; });
}

function light(index) {
  if (index === lit) return;
  const before = lit;
  lit = index;
  if (before >= 0) dressed(before);
  if (index < 0) return;
  const [here] = sheet.brought(index).groups;
  dressed(index);
  if (here) {
    const box = here.getBoundingClientRect(), foot = $("bar").getBoundingClientRect().top;
    if (box.top < 70 || box.bottom > foot - 90) window.scrollBy({ top: box.top - 140, behavior: calm.matches ? "auto" : "smooth" });
  }
}

function frame() {
  if (!playing) return;
  const at_s = playing.at_s;
  slide.show(at_s, calm.matches);
  light(at_s < notes[0].start_s - 1e-3 ? -1 : noteAt(notes, at_s));
  requestAnimationFrame(frame);
}

function droneMidi() {
  const kind = $("drone").value;
  if (kind === "tonic") return data.tonic_midi;
  if (kind === "chord") return notes[chosen].root_midi ?? data.tonic_midi;
  return null;
}

$("play").addEventListener("click", () => play());
for (const id of ["loop", "clicks", "hear", "drone"]) $(id).addEventListener("change", restart);
$("loud").addEventListener("input", () => { if (playing) playing.knob = Number($("loud").value); });
$("choose").addEventListener("click", () => {
  asking = asking ? null : {};
  $("choose").setAttribute("aria-pressed", String(asking !== null));
  if (asking) $("range").textContent = "Tap the first note."; else showRange();
});
$("clear").addEventListener("click", () => { range = null; showRange(); });
$("hide").addEventListener("change", () => {
  document.body.classList.toggle("recall", $("hide").checked);
  told.clear();
  for (const mark of document.querySelectorAll(".told")) mark.classList.remove("told");
});

document.addEventListener("keydown", (event) => {
  const typing = /^(INPUT|SELECT|TEXTAREA|BUTTON|SUMMARY|A)$/.test(event.target.tagName);
  if (event.key === "Escape") stop();
  else if (typing) return;
  else if (event.key === " ") play();
  else if (event.key === "ArrowRight") take(Math.min(notes.length - 1, chosen + 1));
  else if (event.key === "ArrowLeft") take(Math.max(0, chosen - 1));
  else if (event.key === "Home") take(0);
  else if (event.key === "Enter") take(chosen);
  else return;
  event.preventDefault();
});
document.addEventListener("visibilitychange", () => { if (document.hidden) stop(); });

// --- the ladder -------------------------------------------------------------------------------------------------------

let cleanHere = 0;
function ladder() {
  return { start: Number($("ladder-start").value), step: Number($("ladder-step").value), goal: Number($("ladder-goal").value),
    times: Number($("ladder-times").value) };
}

function rung(bpm) {
  tempo.value = String(Math.round(bpm));
  cleanHere = 0;
  showTempo();
  restart();
}

$("ladder-begin").addEventListener("click", () => {
  rung(ladder().start);
  $("ladder-said").textContent = `On the ladder at ${tempo.value}.`;
  kept.ladder = ladder();
  keep();
});

$("clean").addEventListener("click", () => {
  const { step, goal, times } = ladder(), bpm = Number(tempo.value);
  const [first, last] = range ?? [0, notes.length - 1];
  cleanHere += 1;
  kept.clean.push({ bpm, first, last, measures: [notes[first].measure, notes[last].measure], at: new Date().toISOString().slice(0, 10) });
  keep();
  if (cleanHere < times) {
    $("ladder-said").textContent = `${cleanHere} of ${times} clean at ${bpm}.`;
  } else if (bpm >= goal) {
    $("ladder-said").textContent = `The goal of ${goal} is reached. Rest a little.`;
    cleanHere = 0;
  } else {
    rung(Math.min(goal, bpm + step));
    $("ladder-said").textContent = `Clean. Next: ${tempo.value}.`;
  }
  showTicks();
});

function showTicks() {
  const best = Math.max(0, ...kept.clean.map((tick) => Number(tick.bpm) || 0));
  $("ticks").textContent = kept.clean.length ? `${kept.clean.length} times clean so far, fastest at ${best}.` : "No ticks yet.";
  $("save").disabled = !kept.clean.length;
}

$("save").addEventListener("click", () => {
  const file = { schema: "lowbrass.practice/1", score: data.score, title: data.title, part: data.part, line: data.line,
    horn: data.horn, player: data.player, beat: data.beat, goal_bpm: data.beat.bpm, clean: kept.clean, ladder: ladder() };
  download(new Blob([JSON.stringify(file, null, 1)], { type: "application/json" }), `practice ${data.file}.json`);
});
$("forget").addEventListener("click", () => { kept = { clean: [], ladder: null }; keep(); showTicks(); });

function download(blob, name) {
  const link = Object.assign(document.createElement("a"), { href: URL.createObjectURL(blob), download: name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 5000);
}

// --- the tuner --------------------------------------------------------------------------------------------------------

const TUNED = 5;
function wanted() { const note = notes[lit >= 0 ? lit : chosen]; return note.label === null ? null : hertz({ ...note, off_cents: 0 }); }

function heard(found) {
  if (!found || found.cents === null) { $("heard").textContent = "Listening: play the note."; $("move").textContent = ""; $("needle").style.left = "50%"; return; }
  const note = notes[lit >= 0 ? lit : chosen], cents = found.cents;
  $("needle").style.left = `${Math.max(0, Math.min(100, 50 + cents))}%`;
  if (Math.abs(cents) > 350) { $("heard").textContent = `That is another note (${found.hz.toFixed(1)} Hz).`; $("move").textContent = ""; return; }
  const side = cents > 0 ? "sharp" : "flat";
  $("heard").textContent = Math.abs(cents) <= TUNED ? `${note.name}: in tune (${cents.toFixed(0)} cents)` : `${note.name}: ${Math.abs(cents).toFixed(0)} cents ${side}`;
  if (note.half_mm === null || Math.abs(cents) <= TUNED) { $("move").textContent = ""; return; }
  const mm = slideMove(cents, note.half_mm);
  $("move").textContent = cents < 0 && note.extension_mm + mm < 0 ? "The slide is all the way in: lip it up, or another position."
    : `Slide ${mm > 0 ? "out →" : "← in"} ${Math.abs(mm).toFixed(0)} mm`;
}

async function microphone() {
  if (stream?.active) return stream;
  if (!navigator.mediaDevices?.getUserMedia) throw new Error("no microphone here");
  context ??= new AudioContext();
  await context.resume();
  stream = await navigator.mediaDevices.getUserMedia({ audio: { echoCancellation: false, noiseSuppression: false, autoGainControl: false } });
  return stream;
}

function noMicrophone() {
  $("heard").textContent = "No microphone here. Save this page, then open it in the browser; some phones give pages from a file no microphone.";
}

$("tune").addEventListener("click", async () => {
  if (tuner) { tuner.stop(); tuner = null; stream = null; $("tune").textContent = "Tuner on"; $("heard").textContent = ""; $("move").textContent = ""; return; }
  try {
    tuner = new Tuner(context ?? (context = new AudioContext()), await microphone(), wanted, heard);
    $("tune").textContent = "Tuner off";
    heard(null);
  } catch { noMicrophone(); }
});

$("record").addEventListener("click", async () => {
  if (recorder) {
    download(recorder.end(), `${data.file}.wav`);
    recorder = null;
    $("record").textContent = "Record";
    return;
  }
  try {
    const from = await microphone();
    recorder = await Recorder.begin(context, from);
    $("record").textContent = "Save the recording";
    $("heard").textContent = "Recording. It stays on this device until you send it.";
  } catch { noMicrophone(); }
});

for (const words of document.querySelectorAll("details")) words.addEventListener("toggle", () => {
  const held = words.querySelector("noscript");
  if (held) held.outerHTML = held.textContent;
});

// --- begin ------------------------------------------------------------------------------------------------------------

if (window.matchMedia("(prefers-color-scheme: dark)").matches) document.body.classList.add("dark");
$("dark").addEventListener("click", () => document.body.classList.toggle("dark"));
if (kept.ladder) for (const [name, value] of Object.entries(kept.ladder)) if ($(`ladder-${name}`) && Number.isFinite(value)) $(`ladder-${name}`).value = value;
slide.build(data);
fitted();
take(0, false);
showTempo();
showRange();
showTicks();
window.addEventListener("resize", () => { slide.build(data); slide.show(notes[chosen].start_s, true); });
// Ready is when the controls answer, which they do by now, and the marks can be seen: their face unpacked, a frame painted.
document.fonts.ready.then(() => requestAnimationFrame(() => setTimeout(() => {
  document.body.dataset.ready = "yes";
  sheet.fill();
})));
