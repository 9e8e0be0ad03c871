// What is pinned: the list, and the file that carries the pins to another machine.

import { openChoices, music } from "./choices.js";
import { change, page, failed, on, post, question, same, savedAs, state } from "./state.js";
import { $, fail, make } from "./pieces.js";

function fillPins() {
  const { answer } = page, now = state();
  const mine = now.pins.filter(({ part }) => part === now.part);
  $("pins").hidden = !mine.length;
  $("pins-save").disabled = !now.pins.length;
  $("misfits").hidden = !answer.misfits.length;
  $("misfits").textContent = `${answer.misfits.length} of them cannot be played on this horn and wait until it is changed.`;
  $("pins").querySelector("ul").replaceChildren(...mine.map((pin) => {
    const item = make("li");
    const where = `${pin.line > 1 || answer.lines.length > 1 ? `player ${pin.line}, ` : ""}measure ${pin.measure}, note ${pin.nth}`;
    const go = make("button", `${where}: ${pin.label.replace("#", "♯")}`, { type: "button" });
    go.addEventListener("click", () => {
      const index = pin.line === now.line ? answer.notes.findIndex((note) => note.refs[0] === pin.ref) : -1;
      if (index >= 0) { openChoices(index); music.focus(index); }
      else change({ line: pin.line, from: "", to: "" });
    });
    const drop = make("button", "×", { type: "button", "aria-label": `Remove: ${where}` });
    drop.addEventListener("click", () => change({ pins: state().pins.filter((other) => !same(other, pin)) }, "Removed."));
    item.append(go, drop);
    return item;
  }));
}

const place = (pin) => `${pin.part} ${pin.line} ${pin.ref}`;

$("pins-file").addEventListener("change", async (event) => {
  const file = event.target.files[0];
  event.target.value = "";
  if (!file) return;
  if (file.size > 2 ** 19) { fail(`${file.name} is too large for saved choices.`); return; }
  try {
    const found = await (await post("/api/pins/read", question({ pins: [], text: await file.text(), name: file.name }))).json();
    const given = new Set(found.pins.map(place));
    page.warning = found.missed.length ? `${found.missed.length === 1 ? "1 choice has" : `${found.missed.length} choices have`} no place in this score. ${found.missed[0]}` : "";
    change({ pins: [...state().pins.filter((pin) => !given.has(place(pin))), ...found.pins] }, `${file.name} is read.`);
  } catch (error) { failed(error); }
});
$("pins-save").addEventListener("click", () => savedAs($("pins-save"), () => post("/api/pins/write", question())));
on("answer", fillPins);
