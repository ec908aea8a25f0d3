// Finishing an order: what was seen or what was done, with findings, photos and time. Half typed, it is kept as it is.
import { button, choice, field, h, photoField, radios } from "./dom.js";
import { forgetDraft, keepDraft } from "./drafts.js";
import { boltsForm, findingForm, findingsOf } from "./finding_form.js";
import { shrink } from "./photo.js";
import { add, newKey } from "./queue.js";
import { stepsLeft } from "./standing.js";
import { megabytes } from "./words.js";

export const draftName = (person, order) => `finish of ${order} by ${person}`;

export function finishForm(order, draft, { bundle, redraw, done }) {
  const joint = bundle.joints[order.joint];
  const unit = bundle.sites[order.site].units;
  const look = order.kind === "inspect";
  const save = () => keepDraft(draftName(bundle.person.id, order.id), draft);
  const again = async () => { await save(); redraw(); };
  const problems = h("div", { role: "alert", tabindex: "-1" });
  const form = h("form", { class: "form", novalidate: true, onsubmit: async (event) => {
    event.preventDefault();
    const wrong = await queueFinish(order, draft, bundle, unit);
    problems.className = wrong.length ? "refusal" : "";
    problems.replaceChildren(...wrong.map((line) => h("p", {}, line)));
    if (wrong.length) problems.focus();
    else done();
  } });
  form.append(problems);
  if (look) form.append(...lookFields(draft, { bundle, joint, unit, save, again }));
  else form.append(...repairFields(order, draft, joint, save));
  form.append(...common(draft, save, again),
    h("div", { class: "actions" }, h("button", { class: "button primary big" }, look ? "Record the look" : "The work is done")));
  return form;
}

function lookFields(draft, { bundle, joint, unit, save, again }) {
  const bolted = joint.kind === "bolted";
  const fields = [radios("What did you see?", "result", bundle.results, draft.result, (value) => { draft.result = value; again(); })];
  if (draft.result === "findings" || draft.result === "incomplete") {
    draft.findings ||= bolted ? [] : [{}];
    if (bolted) fields.push(...boltsForm(draft, joint, save).filter(Boolean));
    draft.findings.forEach((finding, index) => fields.push(findingForm(finding, index + 1, {
      joint, unit, save, kinds: bundle.kinds[joint.kind], remove: () => { draft.findings.splice(index, 1); again(); },
    })));
    fields.push(h("div", { class: "actions" }, button(draft.findings.length ? "One more finding" : "Another kind of finding",
      () => { draft.findings.push({}); again(); })));
  }
  fields.push(field("Conditions", choice(bundle.conditions, draft.conditions || "normal", (value) => { draft.conditions = value; save(); })));
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
  draft.photos ||= [];
  return [field("Note", note), field("Time spent, minutes", minutes),
    photoField("Photos (made smaller here, at most 2000 px)", async (file) => { draft.photos.push(await shrink(file)); await again(); }),
    h("ul", { class: "steel-kept" }, draft.photos.map((photo, index) => h("li", {},
      `${photo.name}, ${megabytes(photo.blob.size)}${photo.note ? `, ${photo.note}` : ""}`,
      button("Take it out", () => { draft.photos.splice(index, 1); again(); }))))];
}

// Into the queue, with its photos behind it; gives what is wrong, or nothing.
async function queueFinish(order, draft, bundle, unit) {
  const look = order.kind === "inspect";
  const { rows, wrong } = look ? findingsOf(draft, unit) : { rows: [], wrong: [] };
  const minutes = Number(draft.minutes || 0);
  if (look && !draft.result) wrong.push("Say what you saw: the result of the look is missing.");
  if (draft.result === "findings" && !rows.length) wrong.push("Say what was found, or that nothing was.");
  if (draft.result === "accepted") rows.length = 0;
  if (!Number.isInteger(minutes) || minutes < 0) wrong.push("Time spent: whole minutes, 0 or more.");
  const left = stepsLeft(order);
  if (left.length && draft.result !== "incomplete") wrong.push(`Not done yet: step ${left.map((step) => step.sequence).join(", ")}. Do them, or note it part done.`);
  if (wrong.length) return wrong;
  const body = { note: draft.note || "", minutes_spent: minutes };
  if (look) body.look = { result: draft.result, conditions: draft.conditions || "normal", inspected_at: new Date().toISOString(), note: draft.note || "", findings: rows };
  else if (draft.also?.length) body.also_repaired = draft.also;
  const key = newKey();
  const said = look ? bundle.results.find(([code]) => code === draft.result)[1] : "done";
  const photos = draft.photos.map((photo) => ({
    kind: "photo", words: `${photo.name} of ${order.title}`, path: "/api/v1/evidence/", order: order.id, parent: key,
    body: { joint: order.joint, caption: `order ${order.number}` }, photo: photo.blob, photoName: photo.name,
  }));
  const name = draftName(bundle.person.id, order.id);
  await add(bundle.person, [{ key, kind: "finish", words: `Finish ${order.title}: ${said}`, path: `/api/v1/orders/${order.id}/finish/`,
    order: order.id, seen: order.version, body, draft: structuredClone({ ...draft, photos: [] }) }, ...photos], name);
  forgetDraft(name);
  return [];
}

// A finish taken out of the queue becomes what it was before: half typed.
export async function backToDraft(taken) {
  const finish = taken.find((item) => item.kind === "finish");
  const photos = taken.filter((item) => item.kind === "photo").map((item) => ({ blob: item.photo, name: item.photoName, note: "" }));
  await keepDraft(draftName(finish.person, finish.order), { ...finish.draft, photos });
}
