// What is half typed, kept with every stroke.
import { read, write } from "./store.js";

export const draftOf = (name) => read("drafts", (table) => table.get(name));
export const keepDraft = (name, draft) => write(["drafts"], (table) => { table("drafts").put(draft, name); });
export const dropDraft = (name) => write(["drafts"], (table) => { table("drafts").delete(name); });
