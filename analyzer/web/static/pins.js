// What is pinned: the list, and the file that carries the pins to another desk.

import { openChoices, music } from "./choices.js";
import { change, desk, failed, on, post, question, same, savedAs, state } from "./desk.js";
import { $, fail, make } from "./pieces.js";

function fillPins() {
  const { answer } = desk, now = state();
  const mine = now.pins.filter((one) => one.part === now.part);
  $("pins").hidden = !mine.length;
  $("pins-save").disabled = !now.pins.length;
  $("misfits").hidden = !answer.misfits.length;
  $("misfits").textContent = `${answer.misfits.length} of them cannot be played on this horn and wait until it is changed.`;
  $("pins").querySelector("ul").replaceChildren(...mine.map((one) => {
    const item = make("li");
    const where = `${one.line > 1 || answer.lines.length > 1 ? `player ${one.line}, ` : ""}measure ${one.measure}, note ${one.nth}`;
    const go = make("button", `${where}: ${one.label.replace("#", "♯")}`, { type: "button" });
    go.addEventListener("click", () => {
      const index = one.line === now.line ? answer.notes.findIndex((note) => note.refs[0] === one.ref) : -1;
      if (index >= 0) { openChoices(index); music.focus(index); }
      else change({ line: one.line, from: "", to: "" });
    });
    const drop = make("button", "×", { type: "button", "aria-label": `Remove: ${where}` });
    drop.addEventListener("click", () => change({ pins: state().pins.filter((other) => !same(other, one)) }, "Removed."));
    item.append(go, drop);
    return item;
  }));
}

const place = (pin) => `${pin.part} ${pin.line} ${pin.ref}`;

$("pins-file").addEventListener("change", async (event) => {
  const file = event.target.files[0];
  event.target.value = "";
  if (!file) return;
  if (file.size > 2 ** 19) { fail(`${file.name} is too large for a pins file.`); return; }
  try {
    const found = await (await post("/api/pins/read", question({ pins: [], text: await file.text(), name: file.name }))).json();
    const given = new Set(found.pins.map(place));
    desk.warning = found.missed.length ? `${found.missed.length === 1 ? "1 pin has" : `${found.missed.length} pins have`} no place in this score. ${found.missed[0]}` : "";
    change({ pins: [...state().pins.filter((pin) => !given.has(place(pin))), ...found.pins] }, `${file.name} is read.`);
  } catch (error) { failed(error); }
});
$("pins-save").addEventListener("click", () => savedAs($("pins-save"), () => post("/api/pins/write", question())));
on("answer", fillPins);
