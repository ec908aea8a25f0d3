// An arrow on a photo: touch what it points at, say a word. Positions are shares of the width and height, as the service
// keeps them; the fields stay the way in for a keyboard.
import { button, field, h } from "./dom.js";

const SVG = "http://www.w3.org/2000/svg", WIDTH = 1000, REACH = 0.16, HEAD = 34;

// `src` is the photo's address, `marks` those that stand; `onmark` is given each new one.
export async function marker(src, marks, onmark) {
  const image = new Image();
  image.src = src;
  await image.decode();
  const height = (WIDTH * image.naturalHeight) / image.naturalWidth;
  const svg = element("svg", { viewBox: `0 0 ${WIDTH} ${height}`, class: "photo-marks", role: "img", "aria-label": "the photo with its marks" });
  svg.append(element("image", { href: src, width: WIDTH, height }));
  const fresh = element("g", {});
  svg.append(...marks.map((mark) => arrow(mark, height)), fresh);
  const percent = () => h("input", { inputmode: "decimal", autocomplete: "off" });
  const left = percent(), top = percent(), words = h("input", { maxlength: 80, autocomplete: "off" });
  const wrong = h("p", { class: "field-error", role: "alert", hidden: true });
  const share = (input) => (input.value.trim() ? Number(input.value.replace(",", ".")) / 100 : NaN);
  const mark = () => ({ shape: "arrow", x: share(left), y: share(top), ...tail(share(left), share(top)), text: words.value.trim() });
  const fine = () => [share(left), share(top)].every((value) => value >= 0 && value <= 1);
  const show = () => fresh.replaceChildren(...(fine() ? [arrow(mark(), height)] : []));
  for (const input of [left, top, words]) input.addEventListener("input", show);
  svg.addEventListener("click", (event) => {
    const box = svg.getBoundingClientRect();
    left.value = String(Math.round(((event.clientX - box.left) / box.width) * 1000) / 10);
    top.value = String(Math.round(((event.clientY - box.top) / box.height) * 1000) / 10);
    show();
  });
  const put = () => {
    wrong.hidden = fine();
    wrong.textContent = fine() ? "" : "Touch the photo where the mark goes.";
    if (fine()) onmark(mark());
  };
  return h("figure", { class: "marked" }, svg, h("figcaption", {}, "Touch what the arrow points at."),
    h("details", {}, h("summary", {}, "Place it by numbers"), h("div", { class: "figures two" }, field("From the left, %", left), field("From the top, %", top))), field("Words, such as crack ends here", words), wrong,
    h("div", { class: "actions" }, button("Put the mark", put, "primary")));
}

// Where the arrow comes from: to the side on which there is room.
const tail = (x, y) => ({ x2: x > 0.5 ? x - REACH : x + REACH, y2: y > 0.5 ? y - REACH : y + REACH });

function arrow(mark, height) {
  const tip = [mark.x * WIDTH, mark.y * height], end = [mark.x2 * WIDTH, mark.y2 * height];
  const length = Math.hypot(end[0] - tip[0], end[1] - tip[1]), ux = (end[0] - tip[0]) / length, uy = (end[1] - tip[1]) / length;
  const barb = (side) => `${tip[0] + HEAD * ux + side * HEAD * 0.4 * uy} ${tip[1] + HEAD * uy - side * HEAD * 0.4 * ux}`;
  const d = `M${end.join(" ")}L${tip.join(" ")}M${barb(1)}L${tip.join(" ")}L${barb(-1)}`;
  const group = element("g", {});
  for (const look of ["mark-edge", "mark-line"]) {
    group.append(element("path", { d, class: look, fill: "none" }));
    if (!mark.text) continue;
    const text = element("text", { x: Math.min(end[0], Math.max(8, WIDTH - mark.text.length * 20)), y: end[1] + (end[1] > tip[1] ? 36 : -8), "font-size": 36, class: look });
    text.textContent = mark.text;
    group.append(text);
  }
  return group;
}

function element(tag, properties) {
  const made = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(properties)) made.setAttribute(name, value);
  return made;
}
