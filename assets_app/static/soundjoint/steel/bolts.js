// The bolt sheet: bolt by bolt in tightening order, found and left, and at once what the lost ones do to the rest. For an
// order that asks for a bolt check it is part of the look; elsewhere it is recorded on its own.
import { LOST, gravest, rise, severityOf } from "./bolt_loads.js";
import { boltInput } from "./draw.js";
import { button, choice, drawing, field, h, newId, radioRow } from "./dom.js";
import { draftName, draftOf, forgetDraft, keepDraft, refusalOf } from "./drafts.js";
import { day } from "./words.js";

const STATES = [["ok", "ok"], ["loose", "loose"], ["missing", "missing"], ["broken", "broken"]];
const WITNESS = [["in line", "in line"], ["moved", "moved"], ["none", "no mark"]];
const FIGURE = /^\d+(?:[.,]\d+)?\s*[^\d\s][^\d]*$|^\d+(?:[.,]\d+)?$/;

export const isLook = (order) => order.kind === "inspect" && order.method === "BC";
const nameOf = (order, person) => (isLook(order) ? draftName(person, order.id) : `bolts of ${order.id} by ${person}`);
const given = (sheet) => Object.entries(sheet || {}).filter(([, bolt]) => bolt.state);
const plain = (bolt) => Object.fromEntries(Object.entries(bolt).filter(([, value]) => value));

export const sheetIsGiven = (sheet) => given(sheet).length > 0;
export const sheetSent = (sheet) => given(sheet).map(([number, bolt]) => ({ number: Number(number), ...plain(bolt) }));

// By the sheet and what else was seen, as the service decides it.
export function sheetResult(sheet, joint, others) {
  if (given(sheet).length < joint.bolts.count) return "incomplete";
  return others || given(sheet).some(([, bolt]) => LOST.includes(bolt.state)) ? "findings" : "accepted";
}

// What the service would refuse, in words.
export function sheetWrong(sheet) {
  return Object.entries(sheet || {}).flatMap(([number, bolt]) => {
    const { state, ...rest } = plain(bolt);
    const wrong = Object.entries(rest).filter(([name, typed]) => name !== "witness" && !FIGURE.test(typed.trim())).map(([, typed]) => `Bolt ${number}: ${typed} is no figure. Write it as 320 or 240 lbf ft.`);
    if (!state && Object.keys(rest).length) wrong.push(`Bolt ${number}: say how it was found.`);
    if (["missing", "broken"].includes(state) && (rest.torque_found || rest.tension_found)) wrong.push(`Bolt ${number} is ${state}: nothing can be found on it. What a new one got is "left".`);
    return wrong;
  });
}

// What the sheet, with the bolts of open findings, does to the rest; null where nothing is lost.
export function effectOf(sheet, joint, table) {
  const seen = given(sheet).filter(([, bolt]) => LOST.includes(bolt.state));
  const known = joint.findings.filter((one) => LOST.includes(one.kind)).flatMap((one) => one.bolts || []);
  const lost = [...new Set([...seen.map(([number]) => Number(number)), ...known])].sort((a, b) => a - b);
  if (!lost.length) return null;
  const { points, count, path } = joint.bolts;
  const risen = rise(points, lost);
  const rules = { order: table.order, rows: table[path] };
  const kinds = [...new Set([...seen.map(([, bolt]) => bolt.state), ...joint.findings.filter((one) => LOST.includes(one.kind)).map((one) => one.kind)])];
  const severity = gravest(kinds.map((kind) => severityOf(kind, lost.length, count, risen, rules)), table.order);
  return { lost, known: known.filter((number) => !seen.some(([each]) => Number(each) === number)), risen, severity, path, broken: kinds.includes("broken") };
}

// The words of it, with the severity's mark.
export function effectWords(effect) {
  if (!effect) return [h("p", {}, h("strong", {}, "No bolt is lost so far."))];
  const { lost, known, risen, severity, path, broken } = effect;
  const bolts = `Bolt ${lost.join(", ")} lost`;
  const does = risen === null ? `${bolts}: what that does to the rest is not known, its pattern is not on file.`
    : Number.isFinite(risen) ? `${bolts}: the worst load on a remaining bolt is ${risen.toFixed(2)} times what it was.` : `${bolts}: what remains counts as unable to carry.`;
  return [h("p", {}, h("strong", {}, does)), h("p", {}, severityMark(severity), ` follows, ${path === "single" ? "on a single load path" : "with more than one load path"}.${broken ? " A bolt broke: the others have seen the same." : ""}`),
    known.length ? h("p", { class: "small" }, `Bolt ${[...new Set(known)].join(", ")} was found lost earlier and is still open.`) : null];
}

const PATHS = {
  record: '<circle cx="8" cy="8" r="3" fill="currentColor"/>', watch: '<circle cx="8" cy="8" r="5.5" fill="none" stroke="currentColor" stroke-width="2"/>',
  "plan repair": '<circle cx="8" cy="8" r="6" fill="none" stroke="currentColor" stroke-width="2.5"/><path d="M2 8H14" stroke="currentColor" stroke-width="2.5"/>',
  "repair before use": '<path d="M8 1 15.5 14.5H.5Z" fill="currentColor"/>', "hold now": '<path d="M5 .5h6L15.5 5v6L11 15.5H5L.5 11V5z" fill="currentColor"/>',
};
export const severityMark = (severity) => h("span", { class: "severity", "data-severity": severity },
  drawing(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 16 16" aria-hidden="true">${PATHS[severity]}</svg>`), severity);

export async function boltSheet(order, view) {
  const { bundle } = view;
  const joint = bundle.joints[order.joint];
  const name = nameOf(order, bundle.person.id);
  const head = [h("p", { class: "path" }, h("a", { href: "#" }, "My orders"), " / ", h("a", { href: `#order/${order.id}` }, order.title)), h("h1", {}, `Bolts of ${joint.tag}`)];
  const why = whyNot(order, joint);
  if (why) return [...head, h("p", { class: "note" }, why)];
  const draft = await draftOf(name);
  draft.sheet ||= {};
  const { order: inOrder, order_words: orderWords } = joint.bolts;
  const rows = new Map();
  const told = h("div", { class: "answer", role: "status", "aria-label": "What the lost bolts do to the rest" });
  let picked = "missing";
  const states = () => Object.fromEntries(given(draft.sheet).map(([number, bolt]) => [number, bolt.state]));
  const set = (number, state) => { draft.sheet[number] = { ...draft.sheet[number], state }; changed(); };
  const changed = () => {
    for (const [number, row] of rows) row.show(draft.sheet[number] || {});
    drawn.show();
    told.replaceChildren(...effectWords(effectOf(draft.sheet, joint, bundle.bolt_rules)).filter(Boolean), h("p", { class: "small muted" }, `${given(draft.sheet).length} of ${joint.bolts.count} bolts have a state. By the worst of unit loads; the service works it out again.`));
    keepDraft(name, draft);
  };
  const drawn = boltInput(joint.touch, states, () => picked, (now) => {
    for (const number of inOrder) if ((draft.sheet[number]?.state || "") !== (now[number] || "")) draft.sheet[number] = { ...draft.sheet[number], state: now[number] || "" };
    changed();
  });
  const known = new Map(joint.findings.filter((one) => LOST.includes(one.kind)).flatMap((one) => (one.bolts || []).map((number) => [number, `${one.kind} since ${day(one.found_on)}`])));
  for (const number of inOrder) rows.set(number, boltRow(number, draft.sheet[number] ||= {}, joint.bolts, known.get(number), { set, changed, at: () => draft.sheet[number] }));
  changed();
  return [...head, h("p", {}, `${joint.bolts.count} bolts in tightening order. ${orderWords} The state is as found.`), expected(joint.bolts.expected),
    h("p", { class: "label" }, "What you touch is"), radioRow("What you touch is", "bolt-state", STATES, picked, (state) => { picked = state; }), drawn.figure, told,
    h("div", { class: "bolt-rows" }, [...rows.values()].map((row) => row.element)),
    h("div", { class: "actions" }, button("All the rest ok", () => { for (const number of inOrder) if (!draft.sheet[number]?.state) draft.sheet[number] = { ...draft.sheet[number], state: "ok" }; changed(); }, "big")),
    isLook(order) ? h("div", { class: "actions" }, h("a", { class: "button primary big", href: `#order/${order.id}` }, "Back to the order: it is kept")) : recordIt(order, joint, draft, name, view)];
}

function whyNot(order, joint) {
  if (!joint.bolts || !joint.touch) return "How many bolts there are is not on file, or too many for a sheet: report the lost ones by their numbers on the order.";
  if (order.finished) return "Finished on this device: the sheet went with it.";
  if (!order.may_check_bolts) return "You cannot sign a bolt check here. Do the steps, and note it part done.";
  return "";
}

function boltRow(number, bolt, facts, known, { set, changed, at }) {
  const name = `bolt ${number} ${newId("state")}`;
  const states = radioRow(`Bolt ${number}`, name, STATES, bolt.state, (state) => set(number, state));
  const typed = (what, when) => {
    const key = `${what}_${when}`;
    const input = h("input", { value: bolt[key] || "", inputmode: "decimal", autocomplete: "off", maxlength: 24, oninput: () => { at()[key] = input.value; changed(); } });
    return { key, row: field(`${what[0].toUpperCase()}${what.slice(1)} ${when}, ${facts.units[what]}`, input) };
  };
  const second = facts.first === "torque" ? "tension" : "torque";
  const figures = [typed(facts.first, "found"), typed(facts.first, "left")], others = [typed(second, "found"), typed(second, "left")];
  const witness = choice(WITNESS, bolt.witness || "", (value) => { at().witness = value; changed(); }, "not seen");
  const element = h("fieldset", { class: "bolt", id: `bolt-${number}` }, h("legend", {}, `Bolt ${number}`, known ? h("span", { class: "known" }, ` ${known}`) : ""),
    states,
    h("details", { open: Object.keys(bolt).some((key) => key !== "state" && bolt[key]) }, h("summary", {}, `Torque, tension, mark`, h("span", { class: "visually-hidden" }, ` of bolt ${number}`)),
      h("div", { class: "figures two" }, figures.map((one) => one.row)), h("div", { class: "figures two" }, others.map((one) => one.row)), field("Witness mark", witness)));
  const show = (now) => {
    for (const input of states.querySelectorAll("input")) input.checked = input.value === now.state;
    for (const one of [...figures, ...others]) if (one.key.endsWith("found")) one.row.hidden = ["missing", "broken"].includes(now.state);
  };
  return { element, show };
}

function expected({ torque_nm: torque, preload_kn: preload, source, caution }) {
  const said = torque ? `Expected: ${Math.round(torque)} N·m for ${Math.round(preload)} kN` : preload ? `Expected: ${Math.round(preload)} kN` : "Expected torque not known";
  return h("details", {}, h("summary", {}, said), h("p", { class: "small" }, `${source ? `${source}. ` : ""}${caution}`));
}

function recordIt(order, joint, draft, name, view) {
  const refusal = refusalOf(draft);
  return [refusal.place, h("div", { class: "actions" }, button("Record the bolts", async () => {
    const lines = sheetWrong(draft.sheet);
    if (!sheetIsGiven(draft.sheet)) lines.push("No bolt was given a state yet.");
    if (refusal.tell(lines)) return;
    const sent = sheetSent(draft.sheet);
    await view.queue([{ kind: "bolt sheet", words: `Bolts of ${joint.tag}: ${sent.length} of ${joint.bolts.count} read`, path: "/api/v1/bolt-sheets/", order: order.id,
      body: { joint: order.joint, inspected_at: new Date().toISOString(), bolts: sent } }], name);
    forgetDraft(name);
    view.go(`order/${order.id}`);
  }, "primary big"))];
}
