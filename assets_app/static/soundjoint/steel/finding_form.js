// One finding at a weld, or the bolts of a group, from the draft of a finish. Each change goes to `save`.
import { clock, filled } from "./arc.js";
import { boltInput, numbers } from "./draw.js";
import { button, choice, drawing, field, h, radios } from "./dom.js";
import { noteOf, runTouch } from "./run_touch.js";
import { echo, readSize } from "./sizes.js";

const STATES = [["loose", "loose"], ["missing", "missing"], ["broken", "broken"]];
const PLACES = ["toe", "root", "throat", "weld", "parent metal", "hole"].map((place) => [place, place]);

const NOT_HERE = "What was found at this joint earlier is not on this device. If this is one of those measured again, say so in the note. At the desk an inspector then says that it is the earlier one, and the two become one with both sizes.";
const CLOCK = "Clock position, degrees from the top";
const along = (unit) => `Position from the datum end (${unit} where you write no unit)`;

function typed(label, finding, name, save, more = {}, help = null) {
  const input = h("input", { value: finding[name] || "", autocomplete: "off", ...more,
    oninput: () => { finding[name] = input.value; save(); } });
  return { input, row: field(label, input, help) };
}

function size(label, finding, name, unit, save) {
  const said = h("p", { class: "help", "aria-live": "polite" }, echo(finding[name] || "", unit));
  const { input, row } = typed(label, finding, name, save, { inputmode: "text" }, said);
  input.addEventListener("input", () => { said.textContent = echo(input.value, unit); });
  const put = (value) => { input.value = value; finding[name] = value; said.textContent = echo(value, unit); };
  return { row, input, put };
}

export function findingForm(finding, number, { joint, kinds, unit, save, remove }) {
  const measures = new Map(kinds.flatMap(([, rows]) => rows.map(([code, words, measure, bolts]) => [code, { words, measure, bolts }])));
  const select = h("select", { onchange: () => { finding.kind = select.value; ask(); save(); } }, h("option", { value: "" }, "choose"),
    kinds.map(([group, rows]) => h("optgroup", { label: group }, rows.map(([code, words]) =>
      h("option", { value: code, selected: code === finding.kind }, words)))));
  const depth = size("Depth, where known", finding, "depth", unit, save).row;
  const lengths = { size: size(`Size (${unit} where you write no unit; 3/8 in, 10mm)`, finding, "size", unit, save), length: size("Length along the weld, where known", finding, "length", unit, save) };
  const bolts = typed("Bolts, by their numbers", finding, "bolts", save, { inputmode: "numeric" }).row;
  const ask = () => {
    const kind = measures.get(finding.kind);
    depth.hidden = !kind || kind.measure !== "length";
    bolts.hidden = !kind || !kind.bolts;
    lengths.length.row.hidden = !kind || kind.measure === "length" || !place;
    place?.show();
  };
  const place = where(finding, joint, { unit, save }, (suggestion) => suggestLength(finding, lengths, measures.get(finding.kind), suggestion));
  for (const { input } of Object.values(lengths)) input.addEventListener("input", () => place?.show());
  ask();
  const known = joint.findings.map((one) => [one.id, `${one.words}, found earlier${one.size ? `, ${one.size}` : ""}`]);
  return h("fieldset", { class: "finding" }, h("legend", {}, `Finding ${number}`),
    known.length ? field("Is it one of these, measured again?", choice(known, finding.finding_id || "", (value) => {
      finding.finding_id = value;
      place?.show();
      const same = joint.findings.find((one) => String(one.id) === value);
      if (same) { finding.kind = same.kind; select.value = same.kind; ask(); }
      save();
    }, "no, a new one")) : joint.unknown ? h("p", { class: "note" }, NOT_HERE) : null,
    field("Kind", select), place?.rows, lengths.size.row, lengths.length.row, depth, bolts,
    field("Place", choice(PLACES, finding.place || "", (value) => { finding.place = value; save(); }, "not said")),
    typed("Note on it", finding, "note", save).row, button("Take this finding out", remove));
}

// Where it is: { rows, show }; null where the device has no drawing to touch.
function where(finding, joint, { unit, save }, suggest) {
  const touch = joint.touch;
  if (!touch || touch.field === "bolts") return null;
  const round = touch.field === "clock_deg";
  const said = h("p", { class: "help", "aria-live": "polite" });
  const { input, row } = typed(round ? CLOCK : along(unit), finding, touch.field, save, { inputmode: round ? "decimal" : "text" }, round ? said : null);
  const say = () => { said.textContent = round ? oClock(input.value) : ""; };
  const put = (value) => { input.value = value; finding[touch.field] = value; say(); };
  const drawn = runTouch(drawing(touch.svg), { ...runOf(touch), unit }, finding, { at: { value: () => input.value, put }, suggest, save });
  input.addEventListener("input", () => { drawn.typed(); say(); });
  say();
  // Where nobody knows whether it goes round a tube, a plate's position may be typed as well.
  const other = round && !touch.diameter_mm ? typed(along(unit), finding, "position", save).row : null;
  return { rows: [drawn.figure, row, other], show: drawn.show };
}

const runOf = (touch) => ({ total: touch.run_mm || 0, diameter: touch.diameter_mm || null });

// The length that the drawing suggests goes where this kind keeps it, and only where nobody typed one. Gives what became
// of it, in words. A finding measured again is judged by its growth, so that takes no length from a drawing.
function suggestLength(finding, lengths, kind, suggestion) {
  const name = !kind || finding.finding_id ? "" : kind.measure === "length" ? "size" : "length";
  for (const [each, { input, put }] of Object.entries(lengths)) {
    if (each !== name && finding.drawn_in === each && input.value === finding.drawn) put("");
  }
  if (finding.drawn_in !== name) finding.drawn = "";
  finding.drawn_in = name;
  if (!name) return suggestion && (finding.finding_id ? "Measured again, it is judged by its growth: measure it with a rule and type it." : "Choose the kind, and it stands there as the length.");
  const { now, drawn, typed: byHand } = filled(lengths[name].input.value, finding.drawn || "", suggestion);
  if (lengths[name].input.value !== now) lengths[name].put(now);
  finding.drawn = drawn;
  if (!suggestion) return "";
  return byHand ? `You typed ${lengths[name].input.value.trim()}, and that stays.` : now ? `It stands below as ${now}, upwards to whole mm, until you type what you measured.` : "You took it out, so no length is sent.";
}

function oClock(said) {
  const degrees = Number(said.trim().replace(",", "."));
  return said.trim() && degrees >= 0 && degrees <= 360 ? `${clock(degrees)} o'clock` : "";
}

// The bolts of a group: draft.bolts is number -> state.
export function boltsForm(draft, joint, save) {
  draft.bolts ||= {};
  let picked = "loose";
  const listed = (state) => Object.keys(draft.bolts).filter((number) => draft.bolts[number] === state).join(", ");
  const fields = STATES.map(([state]) => {
    const input = h("input", { value: listed(state), inputmode: "numeric", autocomplete: "off", oninput: () => {
      for (const number of Object.keys(draft.bolts)) if (draft.bolts[number] === state) delete draft.bolts[number];
      for (const number of numbers(input.value)) draft.bolts[number] = state;
      drawn?.show();
      save();
    } });
    return { state, input, row: field(`Bolts ${state}, by their numbers`, input) };
  });
  const drawn = joint.touch ? boltInput(joint.touch, () => draft.bolts, () => picked, (states) => {
    draft.bolts = states;
    for (const each of fields) each.input.value = listed(each.state);
    save();
  }) : null;
  return [drawn ? radios("What you touch is", "bolt-state", STATES, picked, (state) => { picked = state; }) : null,
    drawn?.figure, h("div", { class: "side-by-side" }, fields.map((each) => each.row))];
}

const SAID = ["kind", "size", "length", "depth", "place", "note", "position", "clock_deg", "finding_id", "bolts"];
export const isBlank = (finding) => !SAID.some((name) => String(finding[name] || "").trim());

// What the server is sent of the findings, and what is wrong with them in words. `blanks`: one of which nothing is said is
// asked about; without, it is none.
export function findingsOf(draft, unit, { findings: known = [], touch = null } = {}, { blanks = true } = {}) {
  const wrong = [];
  const rows = (draft.findings || []).flatMap((finding, index) => {
    if (!blanks && isBlank(finding)) return [];
    if (!finding.kind) wrong.push(`Finding ${index + 1}: choose its kind.`);
    for (const name of ["size", "length", "depth"]) {
      const problem = readSize(finding[name] || "", unit).wrong;
      if (problem) wrong.push(`Finding ${index + 1}, ${name}: ${problem}`);
    }
    return [asSent(finding, touch)];
  });
  for (const [state] of STATES) {
    const bolts = numbers(Object.keys(draft.bolts || {}).filter((number) => draft.bolts[number] === state).join(" "));
    if (bolts.length) rows.push(...seenAgain(state, bolts, known));
  }
  return { rows, wrong };
}

// A bolt that an open finding of that kind holds already is that finding seen again.
function seenAgain(kind, bolts, known) {
  const rows = known.filter((one) => one.kind === kind).map((one) => ({ finding_id: one.id, bolts: bolts.filter((number) => (one.bolts || []).includes(number)) })).filter((row) => row.bolts.length);
  const left = bolts.filter((number) => !rows.some((row) => row.bolts.includes(number)));
  return left.length ? [...rows, { kind, bolts: left }] : rows;
}

function asSent(finding, touch) {
  const row = {};
  for (const name of ["kind", "size", "length", "depth", "place", "note", "position"]) if ((finding[name] || "").trim()) row[name] = finding[name].trim();
  if (finding.clock_deg) row.clock_deg = Number(finding.clock_deg.replace(",", "."));
  if (finding.finding_id) row.finding_id = Number(finding.finding_id);
  if (finding.bolts && numbers(finding.bolts).length) row.bolts = numbers(finding.bolts);
  const ends = touch && noteOf(finding.arc, runOf(touch), finding.drawn && finding[finding.drawn_in] === finding.drawn);
  if (ends) row.note = [row.note, ends].filter(Boolean).join(" ");
  return row;
}
