// One finding at a weld, or the bolts of a group, from the draft of a finish. Each change goes to `save`.
import { boltInput, numbers, runInput } from "./draw.js";
import { button, choice, field, h, radios } from "./dom.js";
import { echo, readSize } from "./sizes.js";

const STATES = [["loose", "loose"], ["missing", "missing"], ["broken", "broken"]];
const PLACES = ["toe", "root", "throat", "weld", "parent metal", "hole"].map((place) => [place, place]);

function typed(label, finding, name, save, more = {}, help = null) {
  const input = h("input", { value: finding[name] || "", autocomplete: "off", ...more,
    oninput: () => { finding[name] = input.value; save(); } });
  return { input, row: field(label, input, help) };
}

function size(label, finding, name, unit, save) {
  const said = h("p", { class: "help", "aria-live": "polite" }, echo(finding[name] || "", unit));
  const { input, row } = typed(label, finding, name, save, { inputmode: "text" }, said);
  input.addEventListener("input", () => { said.textContent = echo(input.value, unit); });
  return row;
}

export function findingForm(finding, number, { joint, kinds, unit, save, remove }) {
  const measures = new Map(kinds.flatMap(([, rows]) => rows.map(([code, words, measure, bolts]) => [code, { words, measure, bolts }])));
  const select = h("select", { onchange: () => { finding.kind = select.value; ask(); save(); } }, h("option", { value: "" }, "choose"),
    kinds.map(([group, rows]) => h("optgroup", { label: group }, rows.map(([code, words]) =>
      h("option", { value: code, selected: code === finding.kind }, words)))));
  const depth = size("Depth, where known", finding, "depth", unit, save);
  const bolts = typed("Bolts, by their numbers", finding, "bolts", save, { inputmode: "numeric" }).row;
  const ask = () => {
    const kind = measures.get(finding.kind);
    depth.hidden = !kind || kind.measure !== "length";
    bolts.hidden = !kind || !kind.bolts;
  };
  ask();
  const known = joint.findings.map((one) => [one.id, `${one.words}, found earlier${one.size ? `, ${one.size}` : ""}`]);
  return h("fieldset", { class: "finding" }, h("legend", {}, `Finding ${number}`),
    known.length ? field("Is it one of these, measured again?", choice(known, finding.finding_id || "", (value) => {
      finding.finding_id = value;
      const same = joint.findings.find((one) => String(one.id) === value);
      if (same) { finding.kind = same.kind; select.value = same.kind; ask(); }
      save();
    }, "no, a new one")) : null,
    field("Kind", select), where(finding, joint, save),
    size(`Size (${unit} where you write no unit; 3/8 in, 10mm)`, finding, "size", unit, save), depth, bolts,
    field("Place", choice(PLACES, finding.place || "", (value) => { finding.place = value; save(); }, "not said")),
    typed("Note on it", finding, "note", save).row, button("Take this finding out", remove));
}

function where(finding, joint, save) {
  const touch = joint.touch;
  if (!touch || touch.field === "bolts") return null;
  const clock = touch.field === "clock_deg";
  const label = clock ? "Clock position, degrees from the top" : "Position from the datum end, mm";
  const said = h("p", { class: "help", "aria-live": "polite" });
  const { input, row } = typed(label, finding, touch.field, save, { inputmode: "decimal" }, clock ? said : null);
  const say = () => { said.textContent = oClock(input.value); };
  const drawn = runInput(touch, finding[touch.field] || "", (value) => { input.value = value; finding[touch.field] = value; say(); save(); });
  input.addEventListener("input", () => { drawn.show(input.value); say(); });
  say();
  return [drawn.figure, row];
}

// Degrees from the top as they are called out: 150 is 5:00 o'clock.
function oClock(typed) {
  const degrees = Number(typed.trim().replace(",", "."));
  if (!typed.trim() || !(degrees >= 0 && degrees <= 360)) return "";
  const minutes = Math.round(degrees * 2) % 720;
  return `${Math.floor(minutes / 60) || 12}:${String(minutes % 60).padStart(2, "0")} o'clock`;
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

// What the server is sent of the findings, and what is wrong with them in words.
export function findingsOf(draft, unit, known = []) {
  const wrong = [];
  const rows = (draft.findings || []).map((finding, index) => {
    if (!finding.kind) wrong.push(`Finding ${index + 1}: choose its kind.`);
    for (const name of ["size", "depth"]) {
      const problem = readSize(finding[name] || "", unit).wrong;
      if (problem) wrong.push(`Finding ${index + 1}, ${name}: ${problem}`);
    }
    return asSent(finding);
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

function asSent(finding) {
  const row = {};
  for (const name of ["kind", "size", "depth", "place", "note", "position"]) if ((finding[name] || "").trim()) row[name] = finding[name].trim();
  if (finding.clock_deg) row.clock_deg = Number(finding.clock_deg);
  if (finding.finding_id) row.finding_id = Number(finding.finding_id);
  if (finding.bolts && numbers(finding.bolts).length) row.bolts = numbers(finding.bolts);
  return row;
}
