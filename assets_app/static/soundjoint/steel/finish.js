// Finishing an order: what was seen or what was done, with findings, photos and time. Half typed, it is kept as it is.
import { effectOf, effectWords, isLook, sheetIsGiven, sheetResult, sheetSent, sheetWrong } from "./bolts.js";
import { button, choice, field, h, radios } from "./dom.js";
import { draftName, forgetDraft, keepDraft, refusalOf } from "./drafts.js";
import { boltsForm, findingForm, findingsOf } from "./finding_form.js";
import { photoDeeds, photosField } from "./photos.js";
import { add, newKey } from "./queue.js";
import { stepsLeft } from "./standing.js";
import { weldFields, weldSent, weldWrong } from "./weld.js";

export function finishForm(order, draft, { bundle, redraw, done }) {
  const joint = bundle.joints[order.joint];
  const unit = bundle.sites[order.site].units;
  const look = order.kind === "inspect";
  const save = () => keepDraft(draftName(bundle.person.id, order.id), draft);
  const again = async () => { await save(); redraw(); };
  const { place, tell } = refusalOf(draft);
  const form = h("form", { class: "form", novalidate: true, onsubmit: async (event) => {
    event.preventDefault();
    if (!tell(await queueFinish(order, draft, bundle, unit))) done();
  } });
  form.append(place);
  if (look && hasSheet(order, joint)) form.append(...sheetFields(order, draft, { bundle, joint, unit, save, again }));
  else if (look) form.append(...lookFields(draft, { bundle, joint, unit, save, again }));
  else form.append(...(order.welds ? weldFields(draft, { bundle, site: bundle.sites[order.site], joint, save }) : []), ...repairFields(order, draft, joint, save));
  form.append(...common(draft, save, again),
    h("div", { class: "actions" }, h("button", { class: "button primary big" }, look ? "Record the look" : "The work is done")));
  return form;
}

// A bolt check goes by its sheet, bolt by bolt, where the register knows the bolts.
const hasSheet = (order, joint) => isLook(order) && Boolean(joint.bolts && joint.touch);

function sheetFields(order, draft, { bundle, joint, unit, save, again }) {
  draft.findings ||= [];
  const said = sheetIsGiven(draft.sheet) ? bundle.results.find(([code]) => code === sheetResult(draft.sheet, joint, draft.findings.length))[1] : "";
  return [h("div", { class: "actions" }, h("a", { class: "button big", href: `#bolts/${order.id}` }, said ? "Back to the bolt sheet" : "Fill the bolt sheet")),
    said ? h("div", { class: "answer" }, effectWords(effectOf(draft.sheet, joint, bundle.bolt_rules)), h("p", {}, `By the sheet: ${said}.`)) : null,
    ...draft.findings.map((finding, index) => findingForm(finding, index + 1, { joint, unit, save, kinds: withoutLost(bundle.kinds.bolted), remove: () => { draft.findings.splice(index, 1); again(); } })),
    h("div", { class: "actions" }, button("Something else: a gap, bare metal, a crack", () => { draft.findings.push({}); again(); })),
    conditions(draft, bundle, save)].filter(Boolean);
}

const withoutLost = (kinds) => kinds.map(([group, rows]) => [group, rows.filter(([, , , bolts]) => !bolts)]);
const conditions = (draft, bundle, save) => field("Conditions", choice(bundle.conditions, draft.conditions || "normal", (value) => { draft.conditions = value; save(); }));

function lookFields(draft, { bundle, joint, unit, save, again }) {
  const bolted = joint.kind === "bolted";
  const fields = [radios("Result", "result", bundle.results, draft.result, (value) => { draft.result = value; again(); })];
  if (draft.result === "findings" || draft.result === "incomplete") {
    draft.findings ||= bolted ? [] : [{}];
    if (bolted) fields.push(...boltsForm(draft, joint, save).filter(Boolean));
    draft.findings.forEach((finding, index) => fields.push(findingForm(finding, index + 1, {
      joint, unit, save, kinds: bundle.kinds[joint.kind], remove: () => { draft.findings.splice(index, 1); again(); },
    })));
    fields.push(h("div", { class: "actions" }, button(draft.findings.length ? "One more finding" : "Another kind of finding",
      () => { draft.findings.push({}); again(); })));
  }
  fields.push(conditions(draft, bundle, save));
  return fields;
}

function repairFields(order, draft, joint, save) {
  const others = joint.findings.filter((finding) => finding.id !== order.finding);
  draft.also ||= [];
  return others.length ? [h("div", { class: "field" }, h("fieldset", {}, h("legend", {}, "Also put right"), others.map((finding) =>
    h("label", {}, h("input", { type: "checkbox", checked: draft.also.includes(finding.id), onchange: (event) => {
      draft.also = draft.also.filter((id) => id !== finding.id).concat(event.target.checked ? [finding.id] : []);
      save();
    } }), finding.words))))] : [];
}

function common(draft, save, again) {
  const note = h("textarea", { rows: 3, oninput: () => { draft.note = note.value; save(); } });
  note.value = draft.note || "";
  const minutes = h("input", { inputmode: "numeric", value: draft.minutes || "", autocomplete: "off",
    oninput: () => { draft.minutes = minutes.value; save(); } });
  return [field("Note", note), field("Time spent, minutes", minutes), ...photosField(draft, again)];
}

// Into the queue, with its photos behind it; gives what is wrong, or nothing.
async function queueFinish(order, draft, bundle, unit) {
  const look = order.kind === "inspect", joint = bundle.joints[order.joint];
  const sheet = look && hasSheet(order, joint);
  const { rows, wrong } = look ? findingsOf(sheet ? { findings: draft.findings } : draft, unit, joint, { blanks: sheet }) : { rows: [], wrong: [] };
  const minutes = Number(draft.minutes || 0);
  if (sheet) {
    draft.result = sheetIsGiven(draft.sheet) ? sheetResult(draft.sheet, joint, rows.length) : "";
    wrong.push(...sheetWrong(draft.sheet));
    if (!draft.result) wrong.push("Fill the bolt sheet: no bolt was given a state yet.");
  } else if (look && !draft.result) wrong.push("Say what you saw: the result of the look is missing.");
  if (!sheet && draft.result === "findings" && !rows.length) wrong.push("Say what was found, or that nothing was.");
  if (!sheet && draft.result === "accepted" && rows.length) wrong.push("You wrote of a finding before, which this result would leave out. Choose findings recorded, or take the finding out there first.");
  if (!Number.isInteger(minutes) || minutes < 0) wrong.push("Time spent: whole minutes, 0 or more.");
  if (order.welds) wrong.push(...weldWrong(draft));
  const left = stepsLeft(order);
  if (left.length && draft.result !== "incomplete") wrong.push(`Not done yet: step ${left.map((step) => step.sequence).join(", ")}. Do them, or note it part done.`);
  if (wrong.length) return wrong;
  const body = { note: draft.note || "", minutes_spent: minutes };
  if (look) body.look = { result: draft.result, conditions: draft.conditions || "normal", inspected_at: new Date().toISOString(), note: draft.note || "", findings: rows, ...(sheet ? { bolts: sheetSent(draft.sheet) } : {}) };
  else if (draft.also?.length) body.also_repaired = draft.also;
  if (order.welds) body.weld = weldSent(draft);
  const key = newKey();
  const said = look ? bundle.results.find(([code]) => code === draft.result)[1] : "done";
  const photos = photoDeeds(draft.photos, order.title, { joint: order.joint, caption: `order ${order.number}` }, { order: order.id, parent: key });
  const name = draftName(bundle.person.id, order.id);
  await add(bundle.person, [{ key, kind: "finish", words: `Finish ${order.title}: ${said}`, path: `/api/v1/orders/${order.id}/finish/`,
    order: order.id, seen: order.version, body, draft: structuredClone({ ...draft, photos: [] }) }, ...photos], name);
  forgetDraft(name);
  return [];
}

// A finish taken out of the queue becomes what it was before: half typed.
export async function backToDraft(taken) {
  const finish = taken.find((item) => item.kind === "finish");
  const photos = taken.filter((item) => item.kind === "photo").map((item) => ({ blob: item.photo, name: item.photoName, note: "", marks: JSON.parse(item.body.marks || "[]") }));
  await keepDraft(draftName(finish.person, finish.order), { ...finish.draft, photos });
}
