// Practicing: a sheet of drills made from the hard moves of a part.

import { ask, on, page, post, question, savedAs, tell } from "./state.js";
import { blocksOf } from "./blocks.js";
import { picture } from "./music.js";
import { $, headline, listOf, make } from "./pieces.js";
import { stuck, toil } from "./toil.js";
import { VIEWS } from "./views.js";

const toilOf = (view) => $(`view-${view}`).querySelector(".toil");

function button(name, act, more = {}) {
  const found = make("button", name, { type: "button", ...more });
  found.addEventListener("click", () => act(found));
  return found;
}

// --- the practice sheet -------------------------------------------------------------------------------------------

let seed = 1;
const sheetAsked = () => ({ pins: [], seed, weeks: $("drill-weeks").value ? Number($("drill-weeks").value) : null, paper: $("drill-paper").value });

async function showDrill(signal, current) {
  const asked = sheetAsked(), found = await ask("/api/practice/sheet", signal, asked);
  if (!current()) return;
  $("drill-other").textContent = seed === 1 ? "Other patterns" : `Other patterns (these are no. ${seed})`;
  const [about, ...rest] = found.blocks, verdict = make("p", "", { class: "verdict" });
  const counted = `${found.exercises} ${found.exercises === 1 ? "exercise" : "exercises"} from the hard moves of ${about.text}.`;
  headline(verdict, found.of > 1 ? `${counted} It is for player ${found.line} of ${found.of}, whose moves are the hardest.` : counted);
  const file = (name, ending) => button(name, (it) => savedAs(it, () => post("/api/practice/sheet", question({ ...sheetAsked(), ending, start: $("drill-start").value, drone: $("drill-drone").value }))));
  const files = make("p", "", { class: "row" });
  files.append(file("Print", ".pdf"), file("For a notation program", ".musicxml"), file("To hear it (MIDI)", ".mid"), file("Its reference tones", ".wav"));
  if (asked.weeks) files.append(file("Calendar", ".ics"));
  files.append(button("For the phone: the part that practices along", (it) => savedAs(it, () => post("/api/file", question({ ending: "take-home" })))));
  const problems = found.problems.length ? [make("h3", "About the file"), listOf("ul", found.problems)] : [];
  $("drilled").replaceChildren(verdict, files, ...blocksOf(rest), ...problems);
  const key = JSON.stringify(question(asked));
  if (showDrill.key !== key) { showDrill.key = key; $("drill-pages").replaceChildren(button("Show the sheet here", sheetHere)); }
}

/** The sheet as it is printed; to engrave it takes some seconds. */
async function sheetHere() {
  const key = showDrill.key;
  try {
    const found = await toil(toilOf("drill"), "Engraving the sheet…", async (signal) => (await post("/api/practice/sheet", question({ ...sheetAsked(), pages: true }), signal)).json());
    if (key !== showDrill.key) return;
    $("drill-pages").replaceChildren(make("h3", "The sheet"), ...found.pages.map((svg, nth) => {
      const frame = make("div", "", { class: "scroll drawn", tabindex: "0", role: "region", "aria-label": `Practice sheet, page ${nth + 1}` }), drawn = picture(svg);
      drawn.setAttribute("role", "img");
      drawn.setAttribute("aria-label", `Page ${nth + 1} of the practice sheet; its exercises are listed above`);
      apart(drawn, `drill-${nth}-`);
      frame.append(drawn);
      return frame;
    }));
  } catch (error) { stuck(toilOf("drill"), error); }
}

/** Ids of a picture beside others on this page get names of their own; what refers to them goes along. */
function apart(svg, prefix) {
  const names = new Set([...svg.querySelectorAll("[id]")].map(({ id }) => id));
  for (const named of svg.querySelectorAll("[id]")) named.id = `${prefix}${named.id}`;
  for (const use of svg.querySelectorAll("*")) {
    for (const name of ["href", "xlink:href", "aria-labelledby", "aria-describedby"]) {
      const value = use.getAttribute(name);
      if (!value) continue;
      if (name.endsWith("href") && value.startsWith("#") && names.has(value.slice(1))) use.setAttribute(name, `#${prefix}${value.slice(1)}`);
      else if (name.startsWith("aria")) use.removeAttribute(name);
    }
  }
}

function again() { if (page.view === "drill" && page.answer) VIEWS.drill.again(); }
VIEWS.drill = showDrill;
VIEWS.drill.again = () => tell("turned", "drill");
for (const id of ["drill-weeks", "drill-paper"]) $(id).addEventListener("change", again);
$("drill-other").addEventListener("click", () => { seed += 1; again(); });
on("opened", () => { seed = 1; showDrill.key = null; $("drilled").replaceChildren(); $("drill-pages").replaceChildren(); toilOf("drill").hidden = true; });
