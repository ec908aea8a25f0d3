// Something seen on the way, at a joint of this device or at one that is named by its tags, outside what an order asks
// for. Who may sign a look there writes it as a look that does not count as one: nobody has looked at the whole joint.
// Who may not places a hold.
import { h } from "./dom.js";
import { draftOf, forgetDraft, keepDraft, refusalOf } from "./drafts.js";
import { findingForm, findingsOf } from "./finding_form.js";
import { photoDeeds, photosField } from "./photos.js";
import { newKey } from "./queue.js";
import { placed, whereFields } from "./where.js";
import { day } from "./words.js";

// `order` is the one that the person comes from; null: none.
export async function seenSheet(order, view) {
  const { bundle } = view;
  const name = `seen at ${order ? order.asset : "any"} by ${bundle.person.id}`;
  const draft = await draftOf(name);
  draft.place ||= order ? { asset: String(order.asset), joint: String(order.joint) } : {};
  draft.findings ||= [{}];
  const save = () => keepDraft(name, draft);
  const again = async () => { await save(); view.redraw(); };
  const fields = whereFields(draft.place, { bundle, save, again });
  const { joint, kind, site } = placed(draft.place, bundle);
  standOn(draft, joint);
  const unit = site?.units || "mm", looks = Boolean(site?.may_look);
  const refusal = refusalOf(draft);
  const form = h("form", { class: "form", novalidate: true, onsubmit: async (event) => {
    event.preventDefault();
    const { rows, wrong } = findingsOf(draft, unit, { touch: joint.touch });
    const where = placed(draft.place, bundle);
    const lines = [...where.wrong, ...wrong];
    if (refusal.tell(lines)) return;
    await view.queue(deeds(order, draft, rows[0], { where, looks, kinds: bundle.kinds[where.kind] }), name);
    forgetDraft(name);
    view.go(order ? `order/${order.id}` : "unsent");
  } }, refusal.place, fields,
  findingForm(draft.findings[0], 1, { joint, kinds: bundle.kinds[kind], unit, save, remove: () => { draft.findings = [{}]; again(); } }),
  photosField(draft, again),
  h("p", { class: "note" }, looks ? "It is recorded as a visual look that was not completed: the finding counts, the look does not." : "You cannot sign a look here, so this places a hold: nobody uses it until somebody who can has looked. Tell the people there by word of mouth too."),
  h("div", { class: "actions" }, h("button", { class: `button big ${looks ? "primary" : "grave"}` }, looks ? "Record what you saw" : "Report it and hold")));
  return [h("p", { class: "path" }, h("a", { href: "#" }, "My orders"), order ? [" / ", h("a", { href: `#order/${order.id}` }, order.title)] : null),
    h("div", { class: "page-head" }, h("h1", {}, "Something seen on the way"), h("p", {}, "Outside of what an order asks for.")), form];
}

// What the finding stands on: another kind of joint, or another place on one, asks for it anew. Tags that were typed better
// keep it, but not as an earlier finding of the joint that was meant before.
function standOn(draft, joint) {
  const { asset, joint: id, kind } = draft.place, at = [asset, id, kind].join(" ");
  if (draft.at && draft.at !== at) draft.findings = [{}];
  draft.at = at;
  for (const finding of draft.findings) if (finding.finding_id && !joint.findings.some((one) => String(one.id) === String(finding.finding_id))) delete finding.finding_id;
}

function deeds(order, draft, row, { where, looks, kinds }) {
  const key = newKey(), lane = `seen ${key}`, { label, body, typed } = where;
  const on = order ? `seen on the way, order ${order.number}` : "seen on the way";
  const tags = typed ? ["asset_tag", "joint_tag"] : [];
  const first = looks ? {
    key, lane, kind: "look", words: `Seen at ${label}`, path: typed ? "/api/v1/steel/looks/" : "/api/v1/inspections/", edit: tags,
    body: { ...body, method: "VT", inspected_at: new Date().toISOString(), result: "incomplete", note: on, findings: [row] },
  } : {
    key, lane, kind: "hold", words: `Hold on ${label}`, path: typed ? "/api/v1/steel/holds/" : "/api/v1/holds/", body: { ...body, reason: inWords(row, kinds, where.joint.findings) }, edit: [...tags, "reason"],
  };
  // The joint of a photo whose joint was typed is told by the service with its answer.
  return [first, ...photoDeeds(draft.photos, label, { ...(typed ? {} : body), caption: on }, { lane, parent: key })];
}

function inWords(row, kinds, known) {
  const [, words] = kinds.flatMap(([, rows]) => rows).find(([code]) => code === row.kind);
  const earlier = known.find((one) => one.id === row.finding_id);
  const said = [words, earlier ? `the one found ${day(earlier.found_on)}, measured again` : "", row.size, row.length ? `${row.length} along the weld` : "", row.place, row.clock_deg === undefined ? "" : `at ${row.clock_deg}° from the top`, row.position ? `${row.position} from the datum end` : "", row.bolts ? `bolt ${row.bolts.join(", ")}` : "", row.note];
  return `Seen on the way, not looked at by an inspector yet: ${said.filter(Boolean).join(", ")}.`;
}
