// Small pieces of the page that know nothing of its state.

import { spoken } from "./music.js";

// The key leaves the address bar at once: it shall stand neither in the history nor at the foot of a printed page.
const KEY = "lowbrass-key", given = new URLSearchParams(location.hash.slice(1)).get("key");
if (given) {
  history.replaceState(null, "", location.pathname);
  try { sessionStorage.setItem(KEY, given); } catch { /* full: a reload then asks for the address again */ }
}
const key = given || sessionStorage.getItem(KEY) || "";

export const $ = (id) => document.getElementById(id);

export function make(tag, text = "", attributes = {}) {
  const element = document.createElement(tag);
  element.textContent = text;
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  return element;
}

/** What matters most stands first and large, the rest behind it. */
export function headline(place, text) {
  const [, first, rest] = /^(.+?[.!?])(\s.*)?$/s.exec(text) ?? [null, text, ""];
  place.replaceChildren(first, make("span", rest ?? "", { class: "rest" }));
}

export function listOf(kind, texts) {
  const list = make(kind);
  list.append(...texts.map((text) => make("li", text)));
  return list;
}

export function say(text) { $("said").textContent = ""; requestAnimationFrame(() => { $("said").textContent = text; }); }
export function fail(text) { $("error").textContent = text; $("error").hidden = !text; if (text) $("error").scrollIntoView({ block: "nearest" }); }

/** The server said no; `message` is its one line, `answer` all that it said. */
export class Refused extends Error { constructor(text, status, answer = null) { super(text); Object.assign(this, { status, answer }); } }

/** Ask the server; the key from the address goes along. */
export async function call(path, options = {}) {
  let reply;
  try {
    reply = await fetch(path, { ...options, headers: { "X-Lowbrass-Token": key, ...(options.headers || {}) } });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Refused("The program behind this page does not answer. Start it again and open its new address.", 0);
  }
  if (reply.ok) return reply;
  const text = await reply.text();
  let answer = null;
  try { answer = JSON.parse(text); } catch { /* plain text */ }
  throw new Refused((answer ? answer.line : text) || `The answer was ${reply.status}.`, reply.status, answer);
}

/** Save a reply as a file; returns its name. */
export async function saved(reply, otherwise) {
  const name = decodeURIComponent((reply.headers.get("content-disposition") || "").split("''")[1] || otherwise);
  const address = URL.createObjectURL(await reply.blob());
  const link = make("a", "", { href: address, download: name });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(address), 10000);
  return name;
}

/** A button for one candidate of a note; `onPin(label)` is called when it is taken. */
export function choiceButton(note, candidate, cost, more, best, onPin) {
  const button = make("button", "", { type: "button", class: best ? "choice best" : "choice", "data-label": candidate.label, "aria-pressed": String(note.label === candidate.label) });
  const state = note.label === candidate.label ? (note.pinned ? "chosen by you; " : "played now; ") : "";
  button.append(make("b", candidate.shown, { "aria-label": spoken(candidate.shown) }), make("span", `${state}${cost}`, { class: "cost" }), make("span", candidate.detail, { class: "small" }));
  if (more) button.append(make("span", more, { class: "small" }));
  button.addEventListener("click", () => onPin(candidate.label));
  return button;
}

/** The notes as a table, for reading line by line. */
export function tableOf(notes) {
  const head = make("tr");
  for (const name of ["Measure", "Note", "Written", "Play", "Usual", "Why"]) head.append(make("th", name, { scope: "col" }));
  const rows = notes.map((note) => {
    const row = make("tr");
    for (const text of [note.measure, note.nth, note.written, note.shown, note.usual ?? "none", note.problem || note.why.join(" ")]) row.append(make("td", text));
    return row;
  });
  const body = make("table");
  const top = make("thead"), rest = make("tbody");
  top.append(head);
  rest.append(...rows);
  body.append(top, rest);
  return body;
}
