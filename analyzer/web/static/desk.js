// What all parts of the page share: the open score, the questions asked so far (for undo), the last answer, and the
// one piece of work that is under way. Parts tell each other what happened with `tell` and listen with `on`.

import { $, Refused, call, fail, saved, say } from "./pieces.js";

const KEPT = "lowbrass";

export const desk = {
  start: { samples: [], horns: [], ceilings: [], limit_mib: 32, section: null },
  score: null,      // {session, file, title, parts, sample}
  states: [],
  at: -1,
  answer: null,
  chosen: null,     // index of the note whose choices are shown
  asking: null,     // the work under way
  view: "marks",
};

export const state = () => desk.states[desk.at];
export const same = (a, b) => JSON.stringify(a) === JSON.stringify(b);

const heard = new Map();
export function on(name, act) { heard.set(name, [...(heard.get(name) || []), act]); }
export function tell(name, ...rest) { for (const act of heard.get(name) || []) act(...rest); }

// --- questions ----------------------------------------------------------------------------------------------------

export function question(more = {}) {
  const width = Math.max(300, $("music").clientWidth || desk.width || 900);
  desk.width = width;
  const chosen = desk.wanted ?? desk.answer?.notes[desk.chosen]?.refs[0] ?? null;
  return { ...state(), session: desk.score.session, width: Math.round(width / Number($("size").value)), chosen, ...more };
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
  desk.states = [...desk.states.slice(0, desk.at + 1), next];
  desk.at = desk.states.length - 1;
  tell("asked", done);
}

export function step(by) {
  if (desk.at + by < 0 || desk.at + by >= desk.states.length) return;
  desk.at += by;
  tell("asked", by < 0 ? "Undone." : "Done again.");
}

/** A question that cannot be answered is not kept: the last good one stands. */
export function back() {
  if (desk.at <= 0) return;
  desk.states.splice(desk.at, 1);
  desk.at -= 1;
  keep();
}

export function failed(error) {
  if (error.name === "AbortError") return;
  if (error instanceof Refused && error.status === 404 && desk.score) {
    desk.score.lost = true;
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
export async function working(act) {
  desk.asking?.abort();
  const mine = desk.asking = new AbortController();
  busy(true);
  try { return await act(mine.signal, () => mine === desk.asking && !mine.signal.aborted); }
  finally { if (mine === desk.asking) busy(false); }
}

export function busy(on) {
  clearInterval(busy.timer);
  $("work").setAttribute("aria-busy", String(on));
  $("music").setAttribute("aria-busy", String(on));
  $("busy").hidden = true;
  if (!on) return;
  const begun = performance.now();
  busy.timer = setInterval(() => {
    const seconds = Math.floor((performance.now() - begun) / 1000);
    $("busy").hidden = false;
    $("busy-said").textContent = seconds ? `Working… ${seconds} s` : "Working…";
    $("cancel").hidden = seconds < 1;
  }, 350);
}

$("cancel").addEventListener("click", () => {
  desk.asking?.abort();
  busy(false);
  say("Stopped.");
  tell("cancelled");
});

// --- what a reload keeps ------------------------------------------------------------------------------------------

export function keep() {
  if (!desk.score) return;
  const all = { score: desk.score, states: desk.states.slice(-60), at: desk.at - Math.max(0, desk.states.length - 60), size: $("size").value, view: desk.view };
  try { sessionStorage.setItem(KEPT, JSON.stringify(all)); } catch { /* full: a reload then starts anew */ }
}

/** Take back what was kept; tells whether there was anything. */
export function kept() {
  let all = null;
  try { all = JSON.parse(sessionStorage.getItem(KEPT)); } catch { /* nothing kept */ }
  if (!all?.score || !all.states?.[all.at]) return false;
  desk.score = all.score;
  desk.states = all.states;
  desk.at = all.at;
  desk.view = all.view || "marks";
  $("size").value = all.size || "1";
  return true;
}
