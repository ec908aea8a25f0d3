// A mark on a photo: an arrow, a ring, a length or words, by the rules of the service. Touch the photo; positions are
// shares of its width and height; the fields stay the way in for a keyboard. A length carries the size that the person
// measured: a photo has no scale, and none is worked out.
import { button, field, h, newId, radioRow } from "./dom.js";
import { readSize } from "./sizes.js";

const SVG = "http://www.w3.org/2000/svg", WIDTH = 1000, REACH = 0.16, HEAD = 34, BAR = 22, LEAST = 0.01;
const SHAPES = [["arrow", "arrow"], ["ring", "ring"], ["length", "length"], ["text", "words"]];
const ENDS = { ring: "ring", length: "length" }; // these take two touches
const HINTS = {
  arrow: "Touch what the arrow points at.", ring: "Touch the middle of it, then the edge of the ring.",
  length: "Touch one end, then the other. Nothing is measured on the photo: type what you measured.", text: "Touch where the words begin.",
};

// `src` is the photo's address, `marks` those that stand; `onmark` is given each new one.
export async function marker(src, marks, onmark) {
  const image = new Image();
  image.src = src;
  await image.decode();
  const height = (WIDTH * image.naturalHeight) / image.naturalWidth;
  const svg = element("svg", { viewBox: `0 0 ${WIDTH} ${height}`, class: "photo-marks", role: "img", "aria-label": "the photo with its marks" });
  svg.append(element("image", { href: src, width: WIDTH, height }));
  const fresh = element("g", {});
  svg.append(...marks.map((mark) => drawn(mark, height)), fresh);
  const percent = () => h("input", { inputmode: "decimal", autocomplete: "off" });
  const at = { x: percent(), y: percent(), x2: percent(), y2: percent() };
  const words = h("input", { maxlength: 80, autocomplete: "off" });
  const share = (name) => (at[name].value.trim() ? Number(at[name].value.replace(",", ".")) / 100 : null);
  let shape = "arrow", second = false;
  const mark = () => made(shape, { x: share("x"), y: share("y"), x2: share("x2"), y2: share("y2") }, words.value.trim());
  const hint = h("figcaption", { role: "status" });
  const wordsRow = field("", words), wordsLabel = wordsRow.querySelector("label");
  const ends = h("div", { class: "figures two" }, field("Second touch, from the left, %", at.x2), field("Second touch, from the top, %", at.y2));
  const wrong = h("p", { class: "field-error", role: "alert", hidden: true });
  const show = () => {
    hint.textContent = second ? `Now the second touch. ${HINTS[shape]}` : HINTS[shape];
    wordsLabel.textContent = shape === "length" ? "Size that you measured, with its unit: 12 mm, 3/8 in" : "Words, such as crack ends here";
    ends.hidden = !ENDS[shape];
    wrong.hidden = true;
    fresh.replaceChildren(...preview(mark(), height, second));
  };
  for (const input of [...Object.values(at), words]) input.addEventListener("input", show);
  svg.addEventListener("click", (event) => {
    const box = svg.getBoundingClientRect(), [x, y] = second ? ["x2", "y2"] : ["x", "y"];
    at[x].value = String(Math.round(((event.clientX - box.left) / box.width) * 1000) / 10);
    at[y].value = String(Math.round(((event.clientY - box.top) / box.height) * 1000) / 10);
    if (!second) at.x2.value = at.y2.value = "";
    second = Boolean(ENDS[shape]) && !second;
    show();
  });
  const put = () => {
    wrong.textContent = whatIsWrong(mark());
    wrong.hidden = !wrong.textContent;
    if (wrong.hidden) onmark(mark());
  };
  show();
  return h("figure", { class: "marked" }, radioRow("What you put on", newId("shape"), SHAPES, shape, (value) => { shape = value; second = false; show(); }), svg, hint,
    h("details", {}, h("summary", {}, "Place it by numbers"), h("div", { class: "figures two" }, field("From the left, %", at.x), field("From the top, %", at.y)), ends), wordsRow, wrong,
    h("div", { class: "actions" }, button("Put the mark", put, "primary")));
}

// As the service takes it. Where the arrow comes from follows from its tip: the side on which there is room.
function made(shape, { x, y, x2, y2 }, text) {
  const ends = shape === "arrow" ? { x2: x > 0.5 ? x - REACH : x + REACH, y2: y > 0.5 ? y - REACH : y + REACH } : ENDS[shape] ? { x2, y2 } : {};
  return { shape, x, y, ...ends, text };
}

const inside = (value) => value !== null && value >= 0 && value <= 1;

function whatIsWrong({ shape, x, y, x2, y2, text }) {
  if (!inside(x) || !inside(y)) return "Touch the photo where the mark goes.";
  if (ENDS[shape] && !(inside(x2) && inside(y2))) return `Touch the photo a second time: ${HINTS[shape]}`;
  if (ENDS[shape] && Math.hypot(x2 - x, y2 - y) < LEAST) return "The two touches lie on each other.";
  if (shape === "text" && !text) return "Write the words.";
  const size = shape === "length" ? readSize(text, "mm") : null;
  if (size && (!(size.mm > 0) || /\d$/.test(text))) return "Write the size that you measured, with its unit, such as 12 mm or 3/8 in.";
  return "";
}

// The mark, or of a half placed one the first touch.
function preview(mark, height, half) {
  if (!inside(mark.x) || !inside(mark.y)) return [];
  if (!ENDS[mark.shape] || (inside(mark.x2) && inside(mark.y2))) return [drawn(mark, height)];
  return half ? ["mark-edge", "mark-line"].map((look) => element("circle", { cx: mark.x * WIDTH, cy: mark.y * height, r: 9, class: look, fill: "none" })) : [];
}

function drawn(mark, height) {
  const tip = [mark.x * WIDTH, mark.y * height], end = mark.x2 == null ? tip : [mark.x2 * WIDTH, mark.y2 * height];
  const group = element("g", {});
  for (const look of ["mark-edge", "mark-line"]) {
    group.append(...lines(mark.shape, tip, end).map(([tag, how]) => element(tag, { ...how, class: look, fill: "none" })));
    if (!mark.text) continue;
    const [x, y] = wordsAt(mark.shape, tip, end);
    const text = element("text", { x: Math.max(8, Math.min(x, WIDTH - mark.text.length * 20)), y: Math.min(Math.max(y, 36), height - 10), "font-size": 36, class: look });
    text.textContent = mark.text;
    group.append(text);
  }
  return group;
}

function lines(shape, tip, end) {
  const length = Math.hypot(end[0] - tip[0], end[1] - tip[1]) || 1, ux = (end[0] - tip[0]) / length, uy = (end[1] - tip[1]) / length;
  if (shape === "text") return [];
  if (shape === "ring") return [["circle", { cx: tip[0], cy: tip[1], r: length }]];
  const beside = (at, along, across) => `${at[0] + along * ux - across * uy} ${at[1] + along * uy + across * ux}`;
  if (shape === "length") return [["path", { d: `M${tip.join(" ")}L${end.join(" ")}${[tip, end].map((at) => `M${beside(at, 0, BAR)}L${beside(at, 0, -BAR)}`).join("")}` }]];
  return [["path", { d: `M${end.join(" ")}L${tip.join(" ")}M${beside(tip, HEAD, HEAD * 0.4)}L${tip.join(" ")}L${beside(tip, HEAD, -HEAD * 0.4)}` }]];
}

function wordsAt(shape, tip, end) {
  if (shape === "text") return tip;
  if (shape === "length") return [(tip[0] + end[0]) / 2 + 14, (tip[1] + end[1]) / 2 - 20];
  const radius = Math.hypot(end[0] - tip[0], end[1] - tip[1]);
  if (shape === "ring") return [tip[0] + radius * 0.75 + 10, tip[1] - radius * 0.75 - 10];
  return [end[0], end[1] + (end[1] > tip[1] ? 36 : -8)];
}

function element(tag, properties) {
  const made = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(properties)) made.setAttribute(name, value);
  return made;
}
