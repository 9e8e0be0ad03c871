// What all parts of the page share: the open score, the questions asked so far (for undo), the last answer, and the
// one piece of work that is under way. Parts tell each other what happened with `tell` and listen with `on`.

import { $, Refused, call, fail, saved, say } from "./pieces.js";

const KEPT = "lowbrass";

export const page = {
  start: { samples: [], horns: [], ceilings: [], limit_mib: 32, section: null },
  score: null,      // {session, file, title, parts, sample}
  states: [],
  at: -1,
  answer: null,
  chosen: null,     // index of the note whose choices are shown
  asking: null,     // the work under way
  view: "marks",
  desk: {},         // what is kept beside the scores: {section, player, scheme}
  long: false,      // the part is so long that its music is not drawn anew for the choices of a note
  private: false,   // nothing of what is opened and entered now is kept
};

export const state = () => page.states[page.at];
export const same = (a, b) => JSON.stringify(a) === JSON.stringify(b);

const heard = new Map();
export function on(name, act) { heard.set(name, [...(heard.get(name) || []), act]); }
export function tell(name, ...rest) { for (const act of heard.get(name) || []) act(...rest); }

// --- questions ----------------------------------------------------------------------------------------------------

export function question(more = {}) {
  const width = Math.max(300, $("music").clientWidth || page.width || 900);
  page.width = width;
  const chosen = page.wanted ?? page.answer?.notes[page.chosen]?.refs[0] ?? null;
  return { ...state(), session: page.score.session, width: Math.round(width / Number($("size").value)), chosen, ...more };
}

export function post(path, body, signal) {
  return call(path, { method: "POST", body: JSON.stringify(body), headers: { "Content-Type": "application/json" }, signal });
}

/** Ask the present question, with more fields if wanted; gives the answer. */
export async function ask(path, signal, more) {
  return (await post(path, question(more), signal)).json();
}

/** Send a text file; gives the answer. */
export async function send(path, file) {
  const reply = await call(path, { method: "POST", body: file, headers: { "X-File-Name": encodeURIComponent(file.name), "Content-Type": "application/octet-stream" } });
  return reply.json();
}

/** Ask something else from now on; `done` is said when the answer is there. */
export function change(part, done = "") {
  const next = { ...state(), ...part };
  if (same(next, state())) return;
  page.states = [...page.states.slice(0, page.at + 1), next];
  page.at = page.states.length - 1;
  tell("asked", done);
}

export function step(by) {
  if (page.at + by < 0 || page.at + by >= page.states.length) return;
  page.at += by;
  tell("asked", by < 0 ? "Undone." : "Done again.");
}

/** A question that cannot be answered is not kept: the last good one stands. */
export function back() {
  if (page.at <= 0) return;
  page.states.splice(page.at, 1);
  page.at -= 1;
  keep();
}

export function failed(error) {
  if (error.name === "AbortError") return;
  if (error instanceof Refused && error.status === 404 && page.score) {
    page.score.lost = true;
    if (reopen.now) { reopen.now(); return; }
  }
  fail(error instanceof Refused ? error.message : `Something went wrong on this page: ${error.message}. Load it again.`);
}

/** Save what `reply()` gives as a file; the button waits meanwhile. */
export async function savedAs(button, reply, wrong = failed) {
  button.disabled = true;
  say("Making the file.");
  try {
    const name = await saved(await reply(), "lowbrass");
    fail("");
    say(`${name} is made.`);
    button.disabled = false;
    button.focus();
  } catch (error) { button.disabled = false; wrong(error); }
}

/** How to open the score again if the server has let it go; null where only the user can. */
export const reopen = { now: null };

// --- work under way -----------------------------------------------------------------------------------------------

/** Do work that can be cancelled; work still under way is given up. `act(signal, current)`: current() tells if it still counts. */
export async function working(act, doing = DOING[page.view] ?? "Working") {
  page.asking?.abort();
  const mine = page.asking = new AbortController();
  busy(true, doing);
  try { return await act(mine.signal, () => mine === page.asking && !mine.signal.aborted); }
  finally { if (mine === page.asking) busy(false); }
}

/** What a view's work is. */
const DOING = { section: "Trying who plays what", marks: "Planning the part", review: "Looking for what cannot be played", compare: "Planning the part on each horn" };

export function busy(on, doing = "Working") {
  clearInterval(busy.timer);
  $("work").setAttribute("aria-busy", String(on));
  $("music").setAttribute("aria-busy", String(on));
  $("busy").hidden = true;
  if (!on) return;
  const begun = performance.now();
  busy.timer = setInterval(() => {
    const seconds = Math.floor((performance.now() - begun) / 1000);
    $("busy").hidden = false;
    $("busy-said").textContent = seconds ? `${doing}… ${seconds} s` : `${doing}…`;
    $("cancel").hidden = seconds < 1;
  }, 350);
}

$("cancel").addEventListener("click", () => {
  page.asking?.abort();
  busy(false);
  say("Stopped.");
  tell("cancelled");
});

// --- what is kept -------------------------------------------------------------------------------------------------

const MOST_STATES = 60, SOON_MS = 300;

/** Keep what is set and pinned: in the tab for a reload, and on this computer for the next time. */
export function keep() {
  const { score } = page;
  if (!score || score.private) return;
  const settings = { states: page.states.slice(-MOST_STATES), at: page.at - Math.max(0, page.states.length - MOST_STATES), size: $("size").value, view: page.view };
  try { sessionStorage.setItem(KEPT, JSON.stringify({ score, ...settings })); } catch { /* full: a reload then starts anew */ }
  if (score.kept) soon("score", { kept: score.kept, settings });
}

/** Keep something beside the scores. */
export function keepDesk(part) {
  page.desk = { ...page.desk, ...part };
  if (!page.private) soon("desk", { desk: page.desk });
}

const MOST_LASTING = 20000;      // signs that a browser still sends when its page goes: 64 KiB for all, the longest sign has three bytes
const waiting = new Map(), flying = new Set();
function soon(what, body) {
  clearTimeout(waiting.get(what)?.timer);
  waiting.set(what, { body, timer: setTimeout(() => remember(what), SOON_MS) });
}
function remember(what) {
  const found = waiting.get(what);
  waiting.delete(what);
  if (!found) return undefined;
  clearTimeout(found.timer);
  // What cannot be kept is no reason to stop the work; the first screen says what is kept.
  const body = JSON.stringify(found.body);
  const sent = call("/api/remember", { method: "POST", keepalive: body.length < MOST_LASTING, body, headers: { "Content-Type": "application/json" } }).catch(() => {});
  flying.add(sent);
  return sent.finally(() => flying.delete(sent));
}
/** Keep at once what waits to be kept; done when it is kept, and what was on its way before. */
export const flushed = () => { for (const what of [...waiting.keys()]) remember(what); return Promise.all(flying); };
window.addEventListener("pagehide", flushed);

/** The tab forgets what it held, and what waits to be kept is not. */
export function forgetTab() {
  for (const { timer } of waiting.values()) clearTimeout(timer);
  waiting.clear();
  sessionStorage.removeItem(KEPT);
}
on("desk", keepDesk);
on("home", () => { sessionStorage.removeItem(KEPT); });

/** Take back what the tab kept; tells whether there was anything. */
export function kept() {
  let all = null;
  try { all = JSON.parse(sessionStorage.getItem(KEPT)); } catch { /* nothing kept */ }
  if (!all?.score || !settle(all)) return false;
  page.score = all.score;
  page.view = all.view || "marks";
  return true;
}

/** Take the questions that were kept with a score; tells whether they are any. */
export function settle(all) {
  if (!all?.states?.[all.at]?.part) return false;
  page.states = all.states;
  page.at = all.at;
  $("size").value = all.size || "1";
  return true;
}
