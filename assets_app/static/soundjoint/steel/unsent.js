// What is not sent: in order, with its size and what became of it; and what needs the person.
import { button, field, h, photoField } from "./dom.js";
import { dropAll, hasEnded, keepAside, keepable } from "./ended.js";
import { backToDraft } from "./finish.js";
import { shrink } from "./photo.js";
import { NEEDS_YOU, behind, change, mayChange, onto, putRight, sawChanges, take, takeAnew } from "./queue.js";
import { many, megabytes, moment } from "./words.js";

export function unsentSheet(items, view) {
  const waiting = behind(items, (item) => item.state === NEEDS_YOU);
  return [
    h("p", { class: "path" }, h("a", { href: "#" }, "My orders")),
    h("div", { class: "page-head" }, h("h1", {}, "Not sent"), h("p", {}, items.length ? `${total(items)} on this device, in the order in which they go.` : "Everything is sent.")),
    items.length ? h("div", { class: "actions" }, button("Send now", view.send, "primary big")) : null,
    h("ol", { class: "steel-queue" }, items.map((item) => row(item, waiting.has(item.seq), view, items))),
  ];
}

export function total(items) {
  const bytes = items.reduce((sum, item) => sum + (item.photo ? item.photo.size : 0), 0);
  const photos = items.filter((item) => item.photo).length;
  return `${many(items.length, "thing")} not sent${photos ? `, ${many(photos, "photo")} of ${megabytes(bytes)}` : ""}`;
}

function row(item, waits, view, items) {
  const foreign = view.bundle && item.person !== view.bundle.person.id;
  return h("li", { class: item.state === NEEDS_YOU ? "needs-you" : null, "data-kind": item.kind },
    h("p", {}, h("strong", {}, foreign ? `Work of ${item.personName}` : item.words), h("br"), h("span", { class: "small" }, `${moment(item.at)}${item.photo ? `, ${megabytes(item.photo.size)}` : ""}${item.photo && item.body.caption ? `, ${item.body.caption}` : ""}. `,
      stateOf(item, waits, foreign))),
    item.state === NEEDS_YOU && !foreign ? (hasEnded(item) ? ended(item, view, items) : needs(item, view)) : null,
    item.state !== NEEDS_YOU && mayChange(item) && !item.parent && !foreign ? h("div", { class: "actions" }, drop(item)) : null);
}

function stateOf(item, waits, foreign) {
  if (foreign) return `Done by ${item.personName}: it goes when ${item.personName} signs in here.`;
  if (item.state === NEEDS_YOU) return "Needs you.";
  if (waits) return "Waits for what stands before it.";
  if (item.tries) return `The service could not take it (${item.refusal?.status}), tried ${many(item.tries, "time")}. It is sent again.`;
  return item.fixed ? "Sent without an answer: it is sent again, and done once." : "Waits for signal.";
}

function needs(item, view) {
  const refusal = item.refusal || {};
  const changed = refusal.code === "order_changed";
  return h("div", { class: "refusal" }, h("p", {}, refusal.detail || (refusal.status === 413 ? "It is too large to be taken." : `The service refused it (${refusal.status}).`)),
    changed ? h("ul", {}, (refusal.changes || []).map((one) => h("li", {}, `${one.deed} by ${one.by}, ${moment(one.at)}`))) : null,
    (refusal.errors || []).map((one) => h("p", {}, `${one.field}: ${one.message}`)),
    h("div", { class: "actions" },
      changed ? [button("Put mine on top", async () => { await onto(item, refusal.version); view.send(); }, "primary"), button("See how it stands now", () => view.look(item))]
        : button("Try again", async () => { await change(item.seq, (row) => Object.assign(row, { state: "waits", refusal: null, fixed: null })); view.send(); }, "primary"),
      item.kind === "reading" && !item.body.confirmed ? button("I looked again, it is right", async () => { await putRight(item.seq, { confirmed: true }); view.send(); }) : null,
      item.kind === "finish" ? button("Change it", async () => { if (changed) await sawChanges(item); await backToDraft(await take(item)); view.open(item.order); }) : null,
      drop(item)),
    item.photo ? anotherPhoto(item, view) : null,
    edit(item, view));
}

const anotherPhoto = (item, view) => photoField(`Take the photo anew${item.body.marks ? ", without its marks" : ""}`, async (file) => {
  await takeAnew(item.seq, await shrink(file));
  view.send();
});

// The order takes nothing more: one decision for all that waits for it here.
function ended(item, view, items) {
  const { look, photos, all } = keepable(item, items);
  const rest = look ? "What you saw here is not in it. Record it as a look of its own, with your photos and notes; if it is the same look sent from another phone, drop it."
    : photos ? "Your photos here are not in it." : "Read what stands here and tell whoever finished it, before you drop it.";
  const keep = async () => { await keepAside(item); view.send(); };
  return h("div", { class: "refusal" }, h("p", {}, item.refusal.detail), h("p", {}, "The order takes nothing more. ", rest),
    h("div", { class: "actions" }, look ? button("Record mine as a look of its own", keep, "primary") : photos ? button("Send only the photos", keep, "primary") : null,
      drop(item, { words: all.length > 1 ? `Drop all ${all.length}` : "Drop it", out: () => dropAll(item) })));
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

function drop(item, { words = "Drop it", out = () => take(item) } = {}) {
  const sure = h("span", { hidden: !askedToDrop.has(item.seq) }, button("Yes, drop it for good", out, "grave"));
  return [button(words, () => { askedToDrop.add(item.seq); sure.hidden = false; sure.querySelector("button").focus(); }), sure];
}
