// What is half typed, kept with every stroke. There is one draft in memory for every form that shows it, so that a form
// drawn anew meanwhile never brings back what was typed before.
import { h } from "./dom.js";
import { read, write } from "./store.js";

const live = new Map();
let refused = null; // what was told last, and of which draft

export async function draftOf(name) {
  if (!live.has(name)) {
    const kept = (await read("drafts", (table) => table.get(name))) || {};
    if (!live.has(name)) live.set(name, kept);
  }
  return live.get(name);
}

export function keepDraft(name, draft) {
  live.set(name, draft);
  return write(["drafts"], (table) => { table("drafts").put(draft, name); });
}

// The finish of an order, half typed.
export const draftName = (person, order) => `finish of ${order} by ${person}`;

// What is wrong with a draft, said at the head of its form: { place, tell }. It stays through a form drawn anew meanwhile,
// until the person touches something.
export function refusalOf(draft) {
  const place = h("div", { role: "alert", tabindex: "-1" });
  const show = (lines) => {
    place.className = lines.length ? "refusal" : "";
    place.replaceChildren(...lines.map((line) => h("p", {}, line)));
  };
  show(refused?.draft === draft ? refused.lines : []);
  const tell = (lines) => {
    refused = { draft, lines };
    show(lines);
    if (lines.length) place.focus();
    return lines.length > 0;
  };
  return { place, tell };
}
for (const touched of ["input", "click"]) addEventListener(touched, () => { refused = null; }, true);

// It has become a deed: the transaction that queues the deed takes the draft off the device.
export const forgetDraft = (name) => live.delete(name);
