// The paper that everything is printed on: as the country of the browser's language suggests, until another is chosen.

import { keepDesk, on, page, tell } from "./state.js";
import { $, make } from "./pieces.js";

export const PAPERS = { a4: "A4", letter: "Letter" };
export const paper = () => page.desk.paper ?? page.start.paper;
/** The paper in use, and the other one. */
export const papers = () => (paper() === "a4" ? ["a4", "letter"] : ["letter", "a4"]);

/** Let a list hold the papers; all lists show the same one. */
export function fillPaper(select) {
  select.replaceChildren(...Object.entries(PAPERS).map(([value, name]) => make("option", name, { value })));
  select.value = paper();
}

function fill() {
  for (const select of document.querySelectorAll("select[data-paper]")) fillPaper(select);
  $("paper-said").textContent = page.desk.paper ? "" : `${PAPERS[paper()]} was supposed, from the language of this browser.`;
}

document.addEventListener("change", ({ target }) => {
  if (!target.matches("select[data-paper]")) return;
  keepDesk({ paper: target.value });
  fill();
  tell("paper");
}, true);
on("started", fill);
on("forgotten", fill);
