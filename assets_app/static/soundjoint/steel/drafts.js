// What is half typed, kept with every stroke. There is one draft in memory for every form that shows it, so that a form
// drawn anew meanwhile never brings back what was typed before.
import { read, write } from "./store.js";

const live = new Map();

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

// It has become a deed: the transaction that queues the deed takes the draft off the device.
export const forgetDraft = (name) => live.delete(name);
