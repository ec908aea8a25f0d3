// The desk's form of a finding, filled from the drawing of the weld's run as the phone fills its own.
import { filled } from "./steel/arc.js";
import { noteOf, runTouch } from "./steel/run_touch.js";

// `figure` names the fields beside `input`, the position, and says what is known of the run.
export function lookTouch(figure, input) {
  const known = figure.dataset, by = (name) => document.getElementById(known[name]);
  const run = { total: Number(known.runMm) || 0, diameter: Number(known.diameterMm) || null, unit: known.unit };
  const fields = { length: by("length"), size: by("size"), kind: by("kind"), again: by("again"), byLength: known.byLength.split(" ") };
  const kept = keptOf(input);
  const held = { arc: kept.arc };
  let drawn = kept.drawn || "", told = kept.told || "";
  const suggest = (suggestion) => {
    const done = suggestLength(fields, drawn, suggestion);
    drawn = done.drawn;
    return done.words;
  };
  const at = { value: () => input.value, put: (value) => { input.value = value; } };
  const touch = runTouch(figure.querySelector("svg"), run, held, { at, suggest, save: () => {} });
  figure.replaceWith(touch.figure);
  input.addEventListener("input", touch.typed);
  for (const name of ["length", "size", "kind", "again"]) fields[name].addEventListener("input", touch.show);
  input.form.addEventListener("submit", () => {
    const note = by("note"), ends = noteOf(held.arc, run, drawn && fields.length.value === drawn);
    const own = told ? note.value.replace(told, "") : note.value; // what an earlier sending of this form said of the ends
    note.value = own.includes(ends) ? own.trim() : `${own.trim()} ${ends}`.trim();
    told = ends;
    sessionStorage.setItem(nameOf(input), JSON.stringify({ arc: held.arc, drawn, told, value: input.value }));
  });
}

// A form that comes back, refused or with one more finding, has the ends that were touched before; a fresh one has none,
// and neither has one whose position is another by now.
const nameOf = (input) => `ends ${location.pathname} ${input.id}`;

function keptOf(input) {
  const kept = JSON.parse(sessionStorage.getItem(nameOf(input)) || "{}");
  sessionStorage.removeItem(nameOf(input));
  return kept.value && kept.value === input.value ? kept : {};
}

// Puts the suggestion into the field of the length, where nobody typed one there or as the size of a crack. Gives what the
// drawing put there and what became of it, in words.
function suggestLength({ length, size, kind, again, byLength }, before, suggestion) {
  const sized = size.value.trim() && (!kind.value || byLength.includes(kind.value)) ? size.value.trim() : "";
  const { now, drawn, typed } = filled(length.value, before, again.value || sized ? "" : suggestion);
  if (length.value !== now) length.value = now;
  if (!suggestion) return { drawn, words: "" };
  if (again.value) return { drawn, words: "Measured again, it is judged by its growth: measure it with a rule and type it." };
  if (typed || sized) return { drawn, words: `You typed ${typed ? length.value.trim() : sized}, and that stays.` };
  return { drawn, words: now ? `It stands below as ${now}, upwards to whole mm, until you type what you measured.` : "You took it out, so no length is sent." };
}
