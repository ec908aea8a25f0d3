// The drawing of a bolt group as the input: touch the bolts. The fields below it stay the way in for a keyboard.
import { drawing, h } from "./dom.js";

const SVG = "http://www.w3.org/2000/svg";

// Where the word of a bolt's state stands: towards the middle, so that the number outside stays free.
function stateWord(svg, bolt) {
  const { width, height } = svg.viewBox.baseVal, disc = bolt.querySelector("circle");
  const x = Number(disc.getAttribute("cx")), y = Number(disc.getAttribute("cy"));
  const away = Math.hypot(width / 2 - x, height / 2 - y) || 1;
  const text = document.createElementNS(SVG, "text");
  const at = { class: "state-word", "text-anchor": "middle", "font-size": 13, x: x + (22 * (width / 2 - x)) / away, y: y + (22 * (height / 2 - y)) / away + 4 };
  for (const [name, value] of Object.entries(at)) text.setAttribute(name, value);
  bolt.append(text);
  return text;
}

// `states`: number -> loose, missing, broken. Touching a bolt gives it the state that is picked, touching again takes it.
export function boltInput(touch, states, picked, onchange) {
  const svg = drawing(touch.svg);
  const show = () => svg.querySelectorAll("[data-bolt]").forEach((bolt) => {
    const state = states()[bolt.dataset.bolt] || "";
    bolt.classList.toggle("chosen", Boolean(state));
    bolt.dataset.state = state;
    (bolt.querySelector(".state-word") || stateWord(svg, bolt)).textContent = state;
  });
  svg.addEventListener("click", (event) => {
    const bolt = event.target.closest("[data-bolt]");
    if (!bolt) return;
    const now = { ...states() };
    const number = bolt.dataset.bolt;
    if (now[number] === picked()) delete now[number];
    else now[number] = picked();
    onchange(now);
    show();
  });
  show();
  return { figure: h("figure", { class: "drawing touch-box" }, svg, h("figcaption", {}, "Touch the bolts. It fills the fields below.")), show };
}

// "3, 4, 7" <-> [3, 4, 7]
export const numbers = (text) => [...new Set(text.split(/[^0-9]+/).filter(Boolean).map(Number))].sort((a, b) => a - b);
