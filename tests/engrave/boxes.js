// Runs in a browser on a page of engraved pictures: writes what touches a mark, and what is cut, as JSON into <pre>.
// The box of a text reaches from the face's ascender to its descender, with two faces from the higher to the lower; what
// is printed reaches less far. Heights in em: capitals and figures of Liberation Serif 0.68, its descenders 0.21; of
// Bitstream Vera Sans 0.73 and 0.24;
// Leipzig: accidentals in text -0.14 to 0.77, letters of dynamics -0.2 to 0.5, notes of a metronome mark -0.15 to 0.85.
function ink(text) {
  const leaves = [...text.querySelectorAll("tspan")].filter((span) => !span.children.length && span.textContent.trim());
  const boxes = [];
  for (const leaf of leaves.length ? leaves : [text]) {
    const style = getComputedStyle(leaf), em = parseFloat(style.fontSize), matrix = leaf.getScreenCTM();
    const music = style.fontFamily.includes("Leipzig"), vera = style.fontFamily.includes("Vera");
    [...leaf.textContent].forEach((character, index) => {
      if (!character.trim() || index >= leaf.getNumberOfChars()) return;
      const extent = leaf.getExtentOfChar(index), baseline = leaf.getStartPositionOfChar(index).y, code = character.charCodeAt(0);
      const [up, down] = !music ? [vera ? 0.73 : 0.68, /[a-z(),\[\]]/.test(character) ? (vera ? 0.24 : 0.21) : 0.02]
        : code < 0xe000 ? [0.77, 0.14] : code >= 0xe520 && code < 0xe550 ? [0.5, 0.2] : [0.85, 0.15];
      boxes.push({left: matrix.e + matrix.a * extent.x, right: matrix.e + matrix.a * (extent.x + extent.width),
                  top: matrix.f + matrix.d * (baseline - up * em), bottom: matrix.f + matrix.d * (baseline + down * em)});
    });
  }
  if (!boxes.length) return {left: 0, right: 0, top: 0, bottom: 0};
  return {left: Math.min(...boxes.map((b) => b.left)), right: Math.max(...boxes.map((b) => b.right)),
          top: Math.min(...boxes.map((b) => b.top)), bottom: Math.max(...boxes.map((b) => b.bottom))};
}
function box(element) {
  if (element.tagName === "text") return ink(element);
  const found = element.getBoundingClientRect();
  return {left: found.left, right: found.right, top: found.top, bottom: found.bottom};
}
const meet = (a, b) => a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom;
function printed(element, area) {
  // Slurs and beams fill little of their box: ask points of the area.
  const matrix = element.getScreenCTM().inverse(), point = element.ownerSVGElement.createSVGPoint();
  for (let i = 0; i <= 12; i++) for (let j = 0; j <= 12; j++) {
    point.x = area.left + (area.right - area.left) * i / 12;
    point.y = area.top + (area.bottom - area.top) * j / 12;
    const at = point.matrixTransform(matrix);
    if (element.isPointInFill(at) || element.isPointInStroke(at)) return true;
  }
  return false;
}
const name = (element) => {
  const classes = [];
  for (let at = element; at && at.tagName !== "svg"; at = at.parentNode) {
    const found = at.getAttribute("class");
    if (found) classes.push(found);
  }
  return classes.slice(0, 3).join(" < ") + " " + element.tagName + " " + (element.textContent || "").trim();
};
const result = {marks: 0, obstacles: 0, forms: {}, touching: [], cut: []};
for (const svg of document.querySelectorAll("svg.page, body > svg")) {
  const sheet = svg.getBoundingClientRect();
  const marks = [...svg.querySelectorAll("g.mark, g.unplayable")].map((group) => {
    const parts = [...group.querySelectorAll("text, rect, path")].map(box);
    const whole = {left: Math.min(...parts.map((b) => b.left)), right: Math.max(...parts.map((b) => b.right)),
                   top: Math.min(...parts.map((b) => b.top)), bottom: Math.max(...parts.map((b) => b.bottom))};
    return {group, whole, text: group.textContent.trim()};
  });
  const others = [...svg.querySelectorAll("path, use, polygon, polyline, rect, ellipse, text")].filter((element) =>
    !element.closest("defs") && !element.closest("g.mark, g.unplayable") && !element.closest("g.struck") &&
    (element.tagName !== "text" || element.textContent.trim())).map((element) => ({element, box: box(element)}));
  result.marks += marks.length;
  result.obstacles += others.length;
  marks.forEach((mark, index) => {
    const form = mark.group.getAttribute("class");
    result.forms[form] = (result.forms[form] || 0) + 1;
    for (const other of others)
      if (meet(mark.whole, other.box) &&
          (!["path", "polygon"].includes(other.element.tagName) || printed(other.element, mark.whole)))
        result.touching.push(`${mark.text} on ${name(other.element)} near ${mark.group.dataset.ref}`);
    for (const next of marks.slice(index + 1))
      if (meet(mark.whole, next.whole)) result.touching.push(`${mark.text} on mark ${next.text} near ${mark.group.dataset.ref}`);
  });
  for (const text of svg.querySelectorAll("text")) {
    if (!text.textContent.trim()) continue;
    const found = ink(text);
    if (found.left < sheet.left - 1 || found.right > sheet.right + 1 || found.top < sheet.top - 1 || found.bottom > sheet.bottom + 1)
      result.cut.push(name(text));
  }
}
document.querySelector("pre").textContent = JSON.stringify(result);
