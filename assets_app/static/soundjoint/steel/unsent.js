// What is not sent: in order, with its size and what became of it; and what needs the person.
import { button, field, h } from "./dom.js";
import { backToDraft } from "./finish.js";
import { NEEDS_YOU, change, mayChange, onto, putRight, take } from "./queue.js";
import { many, megabytes, moment } from "./words.js";

export function unsentSheet(items, view) {
  const blocked = new Set();
  return [
    h("p", { class: "path" }, h("a", { href: "#" }, "My orders")),
    h("div", { class: "page-head" }, h("h1", {}, "Not sent"), h("p", {}, items.length ? `${total(items)} on this device, in the order in which they go.` : "Everything is sent.")),
    items.length ? h("div", { class: "actions" }, button("Send now", view.send, "primary big")) : null,
    h("ol", { class: "steel-queue" }, items.map((item) => {
      const behind = blocked.has(item.lane) && item.state !== NEEDS_YOU;
      if (item.state === NEEDS_YOU) blocked.add(item.lane);
      return row(item, behind, view);
    })),
  ];
}

export function total(items) {
  const bytes = items.reduce((sum, item) => sum + (item.photo ? item.photo.size : 0), 0);
  const photos = items.filter((item) => item.photo).length;
  return `${many(items.length, "thing")} not sent${photos ? `, ${many(photos, "photo")} of ${megabytes(bytes)}` : ""}`;
}

function row(item, behind, view) {
  const foreign = view.bundle && item.person !== view.bundle.person.id;
  return h("li", { class: item.state === NEEDS_YOU ? "needs-you" : null, "data-kind": item.kind },
    h("p", {}, h("strong", {}, foreign ? `Work of ${item.personName}` : item.words), h("br"), h("span", { class: "small" }, `${moment(item.at)}${item.photo ? `, ${megabytes(item.photo.size)}` : ""}. `,
      stateOf(item, behind, foreign))),
    item.state === NEEDS_YOU && !foreign ? needs(item, view) : null,
    item.state !== NEEDS_YOU && mayChange(item) && !item.parent && !foreign ? h("div", { class: "actions" }, drop(item)) : null);
}

function stateOf(item, behind, foreign) {
  if (foreign) return `Done by ${item.personName}: it goes when ${item.personName} signs in here.`;
  if (item.state === NEEDS_YOU) return "Needs you.";
  if (behind) return "Waits for what stands before it.";
  if (item.tries) return `The service could not take it (${item.refusal?.status}), tried ${many(item.tries, "time")}. It is sent again.`;
  return item.fixed ? "Sent without an answer: it is sent again, and done once." : "Waits for signal.";
}

function needs(item, view) {
  const refusal = item.refusal || {};
  const changed = refusal.code === "order_changed";
  return h("div", { class: "refusal" }, h("p", {}, refusal.detail || "The service refused it."),
    changed ? h("ul", {}, (refusal.changes || []).map((one) => h("li", {}, `${one.deed} by ${one.by}, ${moment(one.at)}`))) : null,
    (refusal.errors || []).map((one) => h("p", {}, `${one.field}: ${one.message}`)),
    h("div", { class: "actions" },
      changed ? [button("Put mine on top", async () => { await onto(item, refusal.version); view.send(); }, "primary"), button("See how it stands now", () => view.look(item))]
        : button("Try again", async () => { await change(item.seq, (row) => Object.assign(row, { state: "waits", refusal: null, fixed: null })); view.send(); }, "primary"),
      item.kind === "reading" && !item.body.confirmed ? button("I looked again, it is right", async () => { await putRight(item.seq, { confirmed: true }); view.send(); }) : null,
      item.kind === "finish" ? button("Change it", async () => { await backToDraft(await take(item)); view.open(item.order); }) : null,
      drop(item)),
    edit(item, view));
}

const CALLED = { asset_tag: "tag of the asset", joint_tag: "tag of the joint" };
const edit = (item, view) => item.edit.map((name) => editOne(item, name, view));

function editOne(item, name, view) {
  const input = h("input", { value: String(item.body[name] ?? ""), autocomplete: "off" });
  return h("form", { class: "form", onsubmit: async (event) => {
    event.preventDefault();
    const number = typeof item.body[name] === "number";
    const said = number ? Number(input.value.replace(",", ".")) : input.value.trim();
    if (number && !Number.isFinite(said)) return;
    await putRight(item.seq, { [name]: said });
    view.send();
  } }, field(`Change the ${CALLED[name] || name}`, input), h("button", { class: "button" }, "Change and send"));
}

// What was asked once stays asked when news draws the sheet anew.
const askedToDrop = new Set();

function drop(item) {
  const sure = h("span", { hidden: !askedToDrop.has(item.seq) }, button("Yes, drop it for good", () => take(item), "grave"));
  return [button("Drop it", () => { askedToDrop.add(item.seq); sure.hidden = false; sure.querySelector("button").focus(); }), sure];
}
