// A hold, from any sheet: what is held and what is wrong with it. Anybody may place one, with or without signal.
import { field, h } from "./dom.js";
import { draftOf, forgetDraft, keepDraft, refusalOf } from "./drafts.js";
import { placed, whereFields } from "./where.js";

// `order` is the one that the person comes from; null: none.
export async function holdSheet(order, view) {
  const { bundle } = view;
  const name = `hold ${order ? order.id : "anywhere"} by ${bundle.person.id}`;
  const draft = await draftOf(name);
  draft.place ||= order ? { asset: String(order.asset), joint: String(order.joint) } : {};
  const save = () => keepDraft(name, draft);
  const again = async () => { await save(); view.redraw(); };
  const reason = h("textarea", { rows: 3, oninput: () => { draft.reason = reason.value; save(); } });
  reason.value = draft.reason || "";
  const refusal = refusalOf(draft);
  const form = h("form", { class: "form", novalidate: true, onsubmit: async (event) => {
    event.preventDefault();
    const { label, body, typed, wrong } = placed(draft.place, bundle, { whole: true });
    const lines = [...wrong, ...((draft.reason || "").trim() ? [] : ["Say what is wrong: it stands on every page."])];
    if (refusal.tell(lines)) return;
    await view.queue([{ kind: "hold", words: `Hold on ${label}: ${draft.reason.trim()}`, path: typed ? "/api/v1/steel/holds/" : "/api/v1/holds/",
      body: { ...body, reason: draft.reason.trim() }, edit: typed ? ["asset_tag", "joint_tag", "reason"] : ["reason"] }], name);
    forgetDraft(name);
    view.go(order ? `order/${order.id}` : "unsent");
  } }, refusal.place, whereFields(draft.place, { bundle, whole: true, save, again }), field("What is wrong", reason),
  h("p", { class: "note" }, "Without signal the hold stands on this device only, until it is sent. Tell the people there by word of mouth now."),
  h("div", { class: "actions" }, h("button", { class: "button grave big" }, "Place the hold")));
  return [h("p", { class: "path" }, h("a", { href: "#" }, "My orders"), order ? [" / ", h("a", { href: `#order/${order.id}` }, order.title)] : null),
    h("div", { class: "page-head" }, h("h1", {}, "Place a hold"), h("p", {}, "Nobody uses it until somebody who may has lifted the hold.")), form];
}
