// Something seen on the way, at this joint or another of the asset, outside what the order asks for. Who may sign a look
// writes it as a look that does not count as one: nobody has looked at the whole joint. Who may not places a hold.
import { choice, field, h } from "./dom.js";
import { draftOf, forgetDraft, keepDraft } from "./drafts.js";
import { findingForm, findingsOf } from "./finding_form.js";
import { photoDeeds, photosField } from "./photos.js";
import { newKey } from "./queue.js";

export async function seenSheet(order, view) {
  const { bundle } = view;
  const asset = bundle.assets[order.asset];
  const name = `seen at ${order.asset} by ${bundle.person.id}`;
  const draft = await draftOf(name);
  draft.joint ||= order.joint;
  draft.findings ||= [{}];
  const unit = bundle.sites[order.site].units;
  const save = () => keepDraft(name, draft);
  const again = async () => { await save(); view.redraw(); };
  const { joint, label, kind } = jointOf(draft.joint, asset, bundle);
  const problems = h("div", { role: "alert", tabindex: "-1" });
  const form = h("form", { class: "form", novalidate: true, onsubmit: async (event) => {
    event.preventDefault();
    const { rows, wrong } = findingsOf(draft, unit);
    problems.className = wrong.length ? "refusal" : "";
    problems.replaceChildren(...wrong.map((line) => h("p", {}, line)));
    if (wrong.length) return problems.focus();
    await view.queue(deeds(order, draft, rows[0], { bundle, label, kind }), name);
    forgetDraft(name);
    view.go(`order/${order.id}`);
  } }, problems, field("Where", choice(asset.joints.map(([id, tag, words]) => [id, `${tag} ${words}`]), draft.joint, (value) => { draft.joint = Number(value); draft.findings = [{}]; again(); })),
  findingForm(draft.findings[0], 1, { joint, kinds: bundle.kinds[kind], unit, save, remove: () => { draft.findings = [{}]; again(); } }),
  photosField(draft, again),
  h("p", { class: "note" }, order.may_look ? "It is recorded as a visual look that was not completed: the finding counts, the look does not." : "You cannot sign a look here, so this places a hold: nobody uses it until somebody who can has looked. Tell the people there by word of mouth too."),
  h("div", { class: "actions" }, h("button", { class: `button big ${order.may_look ? "primary" : "grave"}` }, order.may_look ? "Record what you saw" : "Report it and hold")));
  return [h("p", { class: "path" }, h("a", { href: "#" }, "My orders"), " / ", h("a", { href: `#order/${order.id}` }, order.title)),
    h("div", { class: "page-head" }, h("h1", {}, "Something seen on the way"), h("p", {}, `On ${asset.words}, outside of what the order asks for.`)), form];
}

// A joint that is on this device with its drawing, or one of which only the name is here.
function jointOf(id, asset, bundle) {
  const row = asset.joints.find(([each]) => each === id);
  const here = bundle.joints[id];
  if (here) return { joint: here, label: `${here.tag} ${here.name}`, kind: here.kind };
  return { joint: { findings: [], touch: null }, label: row ? `${row[1]} ${row[2]}` : "the joint", kind: row ? row[3] : "weld" };
}

function deeds(order, draft, row, { bundle, label, kind }) {
  const key = newKey(), lane = `seen ${key}`;
  const first = order.may_look ? {
    key, lane, kind: "look", words: `Seen at ${label}`, path: "/api/v1/inspections/",
    body: { joint: draft.joint, method: "VT", inspected_at: new Date().toISOString(), result: "incomplete", note: `seen on the way, order ${order.number}`, findings: [row] },
  } : {
    key, lane, kind: "hold", words: `Hold on ${label}`, path: "/api/v1/holds/", body: { joint: draft.joint, reason: inWords(row, bundle.kinds[kind]) }, edit: ["reason"],
  };
  return [first, ...photoDeeds(draft.photos, label, { joint: draft.joint, caption: `seen on the way, order ${order.number}` }, { lane, parent: key })];
}

function inWords(row, kinds) {
  const [, words] = kinds.flatMap(([, rows]) => rows).find(([code]) => code === row.kind);
  const said = [words, row.size, row.place, row.clock_deg === undefined ? "" : `at ${row.clock_deg}° from the top`, row.position ? `${row.position} from the datum end` : "", row.bolts ? `bolt ${row.bolts.join(", ")}` : "", row.note];
  return `Seen on the way, not looked at by an inspector yet: ${said.filter(Boolean).join(", ")}.`;
}
