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
export async function working(act) {
  page.asking?.abort();
  const mine = page.asking = new AbortController();
  busy(true);
  try { return await act(mine.signal, () => mine === page.asking && !mine.signal.aborted); }
  finally { if (mine === page.asking) busy(false); }
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
  page.asking?.abort();
  busy(false);
  say("Stopped.");
  tell("cancelled");
});

// --- what a reload keeps ------------------------------------------------------------------------------------------

export function keep() {
  if (!page.score) return;
  const all = { score: page.score, states: page.states.slice(-60), at: page.at - Math.max(0, page.states.length - 60), size: $("size").value, view: page.view };
  try { sessionStorage.setItem(KEPT, JSON.stringify(all)); } catch { /* full: a reload then starts anew */ }
}

/** Take back what was kept; tells whether there was anything. */
export function kept() {
  let all = null;
  try { all = JSON.parse(sessionStorage.getItem(KEPT)); } catch { /* nothing kept */ }
  if (!all?.score || !all.states?.[all.at]) return false;
  page.score = all.score;
  page.states = all.states;
  page.at = all.at;
  page.view = all.view || "marks";
  $("size").value = all.size || "1";
  return true;
}
