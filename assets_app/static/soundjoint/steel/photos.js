// Photos that go with what is being written: taken or chosen, made smaller, marked, taken out again.
import { button, h, photoField } from "./dom.js";
import { marker } from "./mark_photo.js";
import { shrink } from "./photo.js";
import { many, megabytes } from "./words.js";

// `draft.photos` are { blob, name, note, marks }; `again` keeps the draft and draws the sheet anew.
export function photosField(draft, again) {
  draft.photos ||= [];
  return [photoField("Photos (made smaller here, at most 2000 px)", async (file) => { draft.photos.push(await shrink(file)); await again(); }),
    h("ul", { class: "steel-kept" }, draft.photos.map((photo, index) => kept(photo, () => draft.photos.splice(index, 1), again)))];
}

function kept(photo, out, again) {
  const marks = photo.marks || [];
  const place = h("div", { class: "steel-marking" });
  const open = button("Mark it", async () => {
    const address = URL.createObjectURL(photo.blob);
    open.disabled = true;
    place.replaceChildren(await marker(address, marks, (mark) => { photo.marks = [...marks, mark]; again(); }));
  });
  return h("li", {}, `${photo.name}, ${megabytes(photo.blob.size)}${photo.note ? `, ${photo.note}` : ""}${marks.length ? `, ${many(marks.length, "mark")}${marks.map((mark) => (mark.text ? `: ${mark.text}` : "")).join("")}` : ""}`,
    open, marks.length ? button("Take the last mark off", () => { photo.marks = marks.slice(0, -1); again(); }) : null,
    button("Take it out", () => { out(); again(); }), place);
}

// The deeds that add them, behind the deed `parent` (its key) in its lane.
export const photoDeeds = (photos, words, body, more) => (photos || []).map((photo) => ({
  kind: "photo", words: `${photo.name} of ${words}`, path: "/api/v1/evidence/", ...more,
  body: { ...body, ...(photo.marks?.length ? { marks: JSON.stringify(photo.marks) } : {}) }, photo: photo.blob, photoName: photo.name,
}));
