// An answer in parts, as text and paper have it: headings, sentences, tables, findings, cautions.

import { listOf, make } from "./pieces.js";

/** A table that scrolls where it is wide; with `cards` each row is a card on a phone. */
export function tableFrom(heads, rows, { caption = "", label = "", cards = false, right = false } = {}) {
  const table = make("table", "", { class: `${cards ? "cards" : "plain"}${right ? " right" : ""}` }), top = make("thead"), body = make("tbody"), head = make("tr");
  if (caption) table.append(make("caption", caption));
  head.append(...heads.map((text) => (text ? make("th", text, { scope: "col" }) : make("td"))));
  top.append(head);
  body.append(...rows.map(([first, ...rest]) => {
    const row = make("tr");
    row.append(make("th", first, { scope: "row", "data-head": heads[0] }), ...rest.map((text, k) => make("td", text, { "data-head": heads[k + 1] })));
    return row;
  }));
  table.append(top, body);
  const scroll = make("div", "", { class: "scroll", tabindex: "0", role: "region", "aria-label": caption || label || heads.filter(Boolean).join(", ") });
  scroll.append(table);
  return scroll;
}

export function care(lines) {
  const box = make("div", "", { class: "care" });
  box.append(make("h3", "With care"), listOf("ul", lines));
  return box;
}

/** The parts as elements; what is the answer's own title is left to the page. */
export function blocksOf(blocks) {
  let head = "";
  return blocks.filter(({ kind }) => kind !== "title").map((block) => {
    if (block.kind === "head") { head = block.text; return make("h3", block.text); }
    if (block.kind === "said") {
      const said = make("p", block.text, { class: block.set_in ? "set-in" : "" });
      if (block.strong) said.classList.add("strongly");
      return said;
    }
    if (block.kind === "table") return tableFrom(block.rows[0], block.rows.slice(1), { label: head, right: block.right });
    if (block.kind === "findings") return tableFrom(block.heads, block.rows, { label: head, cards: true });
    return care(block.lines);
  });
}
