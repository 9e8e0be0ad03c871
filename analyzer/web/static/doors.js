// The first screen: three doors, what was opened last, what is kept on this computer, samples.

import { flushed, forgetTab, on, page, post, tell } from "./state.js";
import { $, call, fail, make, say } from "./pieces.js";
import { turn } from "./views.js";

/** What opens first in each way. */
export const VIEW_OF = { section: "section", passage: "marks", bass: "review" };
const NAMED = { section: "My section", marks: "My passage", review: "A bass part", compare: "Compare horns", drill: "Practice sheet", hear: "Hear me play" };
let openKept = () => {}, openSample = () => {};

/** Fill the screen; `kept(id)` and `sample(file, way)` open a score. */
export function fillDoors(kept, sample) {
  openKept = kept;
  openSample = sample;
  const { samples } = page.start;
  $("samples").hidden = !samples.length;
  $("samples").querySelector("ul").replaceChildren(...samples.map(({ file, name, suits, way }) => {
    const item = make("li"), button = make("button", name, { type: "button" });
    button.append(make("span", `for ${suits}`, { class: "small" }));
    button.addEventListener("click", () => openSample(file, way));
    item.append(button);
    return item;
  }));
  fillMemory();
}

const counted = (count, one, more) => `${count} ${count === 1 ? one : more}`;

function fillMemory() {
  const { folder, scores, desk, most_scores: most, most_mib: mib } = page.start.memory;
  $("recent").hidden = !scores.length;
  $("recent").querySelector("ul").replaceChildren(...scores.map(({ id, name, title, view }) => {
    const item = make("li"), button = make("button", title || name, { type: "button" });
    button.append(make("span", [title ? name : "", NAMED[view] ?? ""].filter(Boolean).join(" · "), { class: "small" }));
    button.addEventListener("click", () => openKept(id));
    item.append(button);
    return item;
  }));
  const sections = Object.values(desk?.sections ?? { mine: desk?.section }).filter((one) => one?.players?.some(({ horns }) => horns?.length)).length;
  const section = sections ? [counted(sections, "section", "sections")] : [];
  const horns = page.start.horns.filter(({ own }) => own), own = horns.length ? [counted(horns.length, "horn of your own", "horns of your own")] : [];
  const said = [counted(scores.length, "score", "scores"), ...section, ...own].join(", ");
  $("memory").hidden = false;
  $("memory-said").textContent = folder === null ? "Nothing can be kept on this computer: there is no folder to write to." :
    scores.length || desk || horns.length ? `Kept on this computer: ${said}.` : "Nothing is kept on this computer yet.";
  $("memory-see").hidden = folder === null;
  $("forget-all").hidden = folder === null || !(scores.length || desk || horns.length);
  $("memory-where").textContent = `It lies in ${folder}, for you alone to read: copies of the last ${most} scores (${mib} MB at most) with their settings and what you chose in them, your section and your horns. Nothing of it leaves this computer.`;
  $("memory-more").querySelector("ul").replaceChildren(...scores.map(({ id, name, title }) => {
    const item = make("li", `${title || name} `), button = make("button", "Forget", { type: "button", "aria-label": `Forget ${title || name}` });
    button.addEventListener("click", () => forget({ kept: id }, `${title || name} is forgotten.`));
    item.append(button);
    return item;
  }));
}

let asked = 0;          // how often was asked what is kept
async function forget(what, done) {
  try {
    asked += 1;
    // Nothing that was on its way may come after it, and be a ghost.
    if (!what.back && !what.kept) forgetTab();
    await flushed();
    page.start.memory = await (await post("/api/forget", what)).json();
    if (what.back) page.score = null;
    else if (!what.kept || page.score?.kept === what.kept) { forgetTab(); page.score = null; }
    page.desk = page.start.memory.desk ?? {};
    if (!what.kept) tell("forgotten");
    $("put-back").hidden = Boolean(what.back);
    fillMemory();
    say(done);
    $("memory-see").focus();
  } catch (error) { fail(error.message); }
}

/** Go back to the first screen; what was open is among what was opened last. */
async function home() {
  tell("stop");
  tell("home");
  turn(null);
  try {
    const mine = asked += 1;
    await flushed();
    const { memory } = await (await call("/api/start")).json();
    // What was forgotten meanwhile is not shown again.
    if (mine !== asked) return;
    page.start.memory = memory;
    fillMemory();
  } catch (error) { fail(error.message); }
  $("doors").querySelector("input").focus();
}

$("memory-see").addEventListener("click", () => {
  const open = $("memory-more").hidden;
  $("memory-more").hidden = !open;
  $("memory-see").setAttribute("aria-expanded", String(open));
});
$("forget-all").addEventListener("click", () => forget({}, "Everything is forgotten: no file is left."));
$("put-back").addEventListener("click", () => forget({ back: true }, "It is kept again."));
$("dont-keep").addEventListener("change", () => { page.private = $("dont-keep").checked; });
$("home").addEventListener("click", home);
on("horns", fillMemory);
for (const [id, view] of [["to-horns", "chart"], ["to-library", "survey"]]) $(id).addEventListener("click", () => tell("go", view));
on("first-screen", () => { tell("stop"); turn(null); });

// Light or dark: as the computer has it, or as chosen here.
function light(scheme) {
  if (scheme) document.documentElement.dataset.scheme = scheme; else delete document.documentElement.dataset.scheme;
  $("scheme").value = scheme;
}
$("scheme").addEventListener("change", () => { light($("scheme").value); tell("desk", { scheme: $("scheme").value }); });
on("started", () => light(page.desk.scheme ?? ""));
on("forgotten", () => light(page.desk.scheme ?? ""));
