// Long work beside the place of its answer: what is being done stands there, and Cancel stops it on the other side too.

import { failed } from "./state.js";
import { $, Refused, call, fail, make, say } from "./pieces.js";

const SOON_MS = 300;

/** Do `act(signal, told)`; `told(text, share)` says how far it is. What was under way at this place is given up. */
export async function toil(place, said, act) {
  place.toil?.abort();
  const mine = place.toil = new AbortController(), words = make("span", said), bar = make("progress", "", { max: "1", "aria-label": said });
  const stop = make("button", "Cancel", { type: "button", class: "stop" });
  stop.addEventListener("click", () => { mine.abort(); say("Stopped."); });
  place.replaceChildren(bar, words, stop);
  $("desk").setAttribute("aria-busy", "true");
  fail("");
  const shown = setTimeout(() => { place.hidden = false; place.scrollIntoView({ block: "nearest" }); say(said); }, SOON_MS);
  const told = (text, share = null) => { words.textContent = text; if (share === null) bar.removeAttribute("value"); else bar.value = share; };
  try { return await act(mine.signal, told); } finally {
    clearTimeout(shown);
    if (mine === place.toil) { place.toil = null; place.hidden = true; $("desk").setAttribute("aria-busy", "false"); }
  }
}

/** Say at its place why something was not done; what was stopped says nothing. */
export function stuck(place, error) {
  if (error.name === "AbortError") return;
  if (!(error instanceof Refused)) { failed(error); return; }
  place.replaceChildren(make("p", error.message, { role: "alert", class: "stuck" }));
  place.hidden = false;
  place.scrollIntoView({ block: "nearest" });
}

/** Ask for something that is told line by line; `step(line)` gets each as it comes, the last one is the answer. */
export function told(path, body, signal, step) {
  return toldBy(path, { body: JSON.stringify(body), headers: { "Content-Type": "application/json" }, signal }, step);
}

/** The same for a question of another form. */
export async function toldBy(path, asking, step) {
  const reply = await call(path, { method: "POST", ...asking });
  const reader = reply.body.pipeThrough(new TextDecoderStream()).getReader();
  let text = "";
  for (;;) {
    const { done, value } = await reader.read();
    if (done) break;
    text += value;
    const lines = text.split("\n");
    text = lines.pop();
    for (const line of lines.filter(Boolean)) {
      const found = JSON.parse(line);
      if (found.line) throw new Refused(found.line, 400, found);
      if (found.answer) return found.answer;
      step(found);
    }
  }
  throw new Refused("The work broke off. Try it once more.", 400);
}
