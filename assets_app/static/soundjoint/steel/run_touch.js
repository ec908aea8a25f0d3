// The drawing of a weld's run as the input of a crack: one end is touched, then the other; a third touch moves the end
// that is nearer. With the keyboard arrows move and Enter sets. The phone and the desk both use it.
import { arcMm, between, clock, rounded, suggested } from "./arc.js";
import { button, h, newId } from "./dom.js";
import { readSize } from "./sizes.js";

const WIDTH = 360, LEFT = 16, RIGHT = 344, LINE_Y = 62; // of the drawing, as the server draws it
const TOUCH_DEG = 5; // a finger is no finer
const SVG = "http://www.w3.org/2000/svg";

// `run`: { total, diameter, unit }, of which a tube has no total; `held.arc` keeps what was touched; `at`: { value, put }
// is the field of the position; `suggest` is given a length, or "", and answers what became of it; `save` keeps all.
export function runTouch(svg, run, held, { at, suggest, save }) {
  const place = { ...run, ring: !run.total, size: run.total || 360 };
  const parts = controls(svg, place);
  let cursor = null;
  held.arc ||= { ends: [], longer: false, value: "", before: null };
  const show = () => {
    const arc = arcOf(held.arc, place);
    draw(parts.marks, { arc, held, place, cursor, value: at.value() });
    parts.longer.hidden = !arc || !place.ring;
    parts.longer.textContent = held.arc.longer ? "Take the shorter way round" : "Take the longer way round";
    parts.undo.hidden = !held.arc.before;
    say(parts.said, ends(held.arc, arc, place));
    say(parts.length, [lengthWords(arc, place), suggest(arc ? suggested(lengthOf(arc, place)) : "")].filter(Boolean).join(" "));
    parts.slider.setAttribute("aria-valuenow", String(cursor ?? (position(at.value(), place) || 0)));
    parts.slider.setAttribute("aria-valuetext", cursor === null ? parts.said.textContent : named(cursor, place));
  };
  const become = (next) => {
    const arc = arcOf(next, place);
    held.arc = { ...next, before: { ...held.arc, value: at.value() } };
    if (next.ends.length) at.put(written(next, place));
    show();
    save();
  };
  const touch = (value) => become({ longer: held.arc.longer, ends: withTouch(held.arc.ends, value, place) });
  parts.undo.addEventListener("click", () => {
    held.arc = held.arc.before;
    at.put(held.arc.value);
    show();
    if (parts.undo.hidden) parts.slider.focus({ preventScroll: true });
    save();
  });
  parts.longer.addEventListener("click", () => become({ ...held.arc, longer: !held.arc.longer }));
  svg.addEventListener("click", (event) => {
    cursor = null;
    touch(touched(event, svg, place));
  });
  parts.slider.addEventListener("keydown", (event) => {
    const from = cursor ?? held.arc.ends.at(-1) ?? (position(at.value(), place) || 0);
    const sets = event.key === "Enter" || event.key === " ", to = sets ? from : moved(event, from, place);
    if (to === null) return;
    event.preventDefault();
    if (sets && cursor !== null) return touch(cursor);
    cursor = to; // Enter before any arrow only shows where the keyboard stands
    show();
  });
  parts.slider.addEventListener("blur", () => { cursor = null; show(); });
  show();
  // Typed by hand, the position says nothing of the ends any more.
  const typed = () => {
    if (held.arc.ends.length) held.arc = { ends: [], longer: false, value: "", before: { ...held.arc, value: written(held.arc, place) } };
    show();
  };
  return { figure: parts.figure, show, typed };
}

// What the note of a finding says of its ends, and of a length that nobody measured.
export function noteOf(arc, run, drawn) {
  const found = arc && arcOf(arc, run);
  if (!found?.span) return ""; // two ends at one place are no crack
  const from = run.total ? `${rounded(found.start)} to ${rounded(found.end)} mm from the datum end` : `${clock(found.start)} to ${clock(found.end)} o'clock, clockwise`;
  return `${found.span === 360 && !run.total ? "All round" : `From ${from}`}.${drawn ? " Its length is from the drawing, not measured with a rule." : ""}`;
}

const arcOf = ({ ends: [first, second], longer }, { total }) => (second === undefined ? null : between(first, second, { total, longer }));
const lengthOf = (arc, place) => (place.ring ? arcMm(place.diameter, arc.span) : arc.span);
const written = (arc, place) => rounded(arcOf(arc, place)?.middle ?? arc.ends[0]) + (place.ring ? "" : " mm");
const position = (said, { ring, unit }) => (ring ? (said.trim() ? Number(said.replace(",", ".")) : NaN) : readSize(said, unit).mm ?? NaN);
const named = (value, place) => (place.ring ? `${clock(value)} o'clock` : `${rounded(value)} mm`);

function withTouch(now, value, place) {
  if (now.length < 2) return [...now, value];
  const away = (end) => { const off = Math.abs(end - value); return place.ring ? Math.min(off, 360 - off) : off; };
  return away(now[0]) < away(now[1]) ? [value, now[1]] : [now[0], value];
}

function touched(event, svg, place) {
  const box = svg.getBoundingClientRect();
  const share = Math.min(Math.max((((event.clientX - box.left) / box.width) * WIDTH - LEFT) / (RIGHT - LEFT), 0), 1);
  return place.ring ? (Math.round((share * 360) / TOUCH_DEG) * TOUCH_DEG) % 360 : Math.round(share * place.size);
}

// Where a key moves to; null: it is no key of ours. With Shift the smallest steps.
function moved(event, from, place) {
  const small = event.shiftKey ? 1 : place.ring ? TOUCH_DEG : Math.max(1, Math.round(place.size / 72));
  const by = { ArrowRight: small, ArrowUp: small, ArrowLeft: -small, ArrowDown: -small, PageUp: 6 * small, PageDown: -6 * small }[event.key];
  if (event.key === "Home") return 0;
  if (by === undefined) return null;
  return place.ring ? (from + by + 360) % 360 : Math.min(Math.max(from + by, 0), place.size);
}

function ends({ ends: touchedEnds, longer }, arc, place) {
  if (!touchedEnds.length) return `${place.ring && !place.diameter ? "If it goes round a tube: touch" : "Touch"} one end of it ${place.ring ? "round the tube" : "along the weld"}, then the other.`;
  if (!arc) return `One end at ${named(touchedEnds[0], place)}. Touch the other end; alone this is taken as its middle.`;
  if (!place.ring) return `From ${rounded(arc.start)} to ${rounded(arc.end)} mm from the datum end, its middle at ${rounded(arc.middle)} mm.`;
  if (!arc.span) return `Both ends are at ${named(arc.start, place)}: touch the other end, or take the longer way if it goes all round.`;
  if (arc.span === 360) return "All round, 360°, by the longer way.";
  return `From ${clock(arc.start)} to ${clock(arc.end)} o'clock, clockwise, ${rounded(arc.span)}° by the ${longer ? "longer" : "shorter"} way round. Its middle is at ${clock(arc.middle)}.`;
}

function lengthWords(arc, place) {
  if (place.ring && !place.diameter) return "The tube's outer diameter is not known here, so no length follows from the drawing: measure it with a rule and type it.";
  if (!arc || !arc.span) return "";
  const sum = place.ring ? `π × ${rounded(place.diameter)} mm × ${rounded(arc.span)}° / 360 = ${rounded(lengthOf(arc, place))} mm` : `${rounded(arc.end)} − ${rounded(arc.start)} = ${rounded(arc.span)} mm`;
  return `Length along the surface: ${sum}. A suggestion from the drawing, to be measured with a rule.`;
}

// Live words are only set anew where they change, so that nobody hears them twice.
function say(part, words) {
  if (part.textContent !== words) part.textContent = words;
}

function controls(svg, place) {
  const part = (tag, look) => { const made = document.createElementNS(SVG, tag); made.setAttribute("class", look); return made; };
  const marks = { crack: part("path", "crack"), heads: part("path", "chosen-mark"), cursor: part("path", "hollow heavy"), labels: part("g", "strong") };
  marks.labels.setAttribute("font-size", "14");
  svg.append(...Object.values(marks));
  svg.setAttribute("aria-hidden", "true"); // the slider about it says the same
  const keys = h("p", { class: "help", id: newId("keys") }, "By keyboard: arrows move, Enter sets an end.");
  const slider = h("div", { role: "slider", tabindex: "0", class: "touch-run", "aria-label": place.ring ? "Ends round the tube" : "Ends along the weld", "aria-describedby": keys.id,
    "aria-valuemin": "0", "aria-valuemax": String(place.size) }, svg);
  const said = h("p", { role: "status" }), length = h("p", { role: "status" });
  const undo = button("Undo the last touch", () => {}), longer = button("", () => {});
  return { marks, slider, said, length, undo, longer,
    figure: h("figure", { class: "drawing touch-box" }, slider, h("figcaption", {}, said, length, keys), h("div", { class: "actions" }, undo, longer)) };
}

// An end is a bar with a head, the crack between two of them a zigzag; where the keyboard stands is a hollow head below.
function draw(marks, { arc, held, place, cursor, value }) {
  const x = (at) => LEFT + (at / place.size) * (RIGHT - LEFT);
  const single = held.arc.ends[0] ?? position(value, place);
  const bars = arc ? [arc.start, arc.end] : single >= 0 && single <= place.size ? [single] : [];
  const head = (at) => `M${x(at)} 40V84M${x(at) - 6} 34H${x(at) + 6}L${x(at)} 42Z`;
  const runs = arc ? (arc.start + arc.span > place.size ? [[arc.start, place.size], [0, arc.start + arc.span - place.size]] : [[arc.start, arc.start + arc.span]]) : [];
  const here = cursor === null ? "" : `M${x(cursor)} 86L${x(cursor) - 6} 96H${x(cursor) + 6}Z`;
  marks.heads.setAttribute("d", bars.map(head).join(""));
  marks.crack.setAttribute("d", runs.map(([from, to]) => zigzag(x(from), x(to))).join(""));
  marks.cursor.setAttribute("d", here);
  marks.labels.replaceChildren(...(held.arc.ends.length ? bars : []).map((at, index) => label(x(at), index, `${arc ? ["from ", "to "][index] : ""}${place.ring ? clock(at) : named(at, place)}`)));
}

function zigzag(from, to) {
  const strokes = Math.max(1, Math.round((to - from) / 6));
  const points = Array.from({ length: strokes + 1 }, (_, step) => `${(from + ((to - from) * step) / strokes).toFixed(1)} ${LINE_Y + (step % 2 ? 5 : -5)}`);
  return `M${points.join("L")}`;
}

// Start and end stand at two heights, so that they never cover each other.
function label(x, index, words) {
  const text = document.createElementNS(SVG, "text");
  const at = { x, y: index ? 29 : 14, "text-anchor": x < 50 ? "start" : x > WIDTH - 50 ? "end" : "middle" };
  for (const [name, set] of Object.entries(at)) text.setAttribute(name, set);
  text.textContent = words;
  return text;
}
