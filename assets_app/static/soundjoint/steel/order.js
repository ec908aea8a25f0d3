// One order, to be worked off with one hand.
import { button, choice, drawing, field, h, holdMark, newId, photoField } from "./dom.js";
import { draftName, draftOf } from "./drafts.js";
import { finishForm } from "./finish.js";
import { marker } from "./mark_photo.js";
import { shrink } from "./photo.js";
import { add, mayChange, take } from "./queue.js";
import { day, due, megabytes, moment } from "./words.js";

export async function orderSheet(order, view) {
  const { bundle } = view;
  const asset = bundle.assets[order.asset];
  const joint = bundle.joints[order.joint];
  const { state, words } = due(order.due_on, bundle.sites[order.site].today);
  const sheet = [
    h("p", { class: "path" }, h("a", { href: "#" }, "My orders")),
    h("div", { class: "page-head" }, h("h1", {}, order.title), h("p", {}, `Order ${order.number}, ${order.state}, `,
      h("span", { class: "due", "data-state": state }, words), order.put_off_until ? `, put off until ${day(order.put_off_until)}` : "", ".")),
    asset.holds.map((hold) => held(hold, order, bundle)),
    h("p", {}, `${asset.words}, ${order.place}. ${joint.tag} ${joint.name}${joint.position ? `, ${joint.position}` : ""}.${joint.access ? ` Access: ${joint.access}.` : ""}`),
    order.why ? h("p", { class: "why" }, order.why) : null,
    order.waits.map((wait) => h("p", { class: "wait" }, `Waits for ${wait.reason} since ${day(wait.since)}${wait.note ? `: ${wait.note}` : ""}${wait.until ? `; expected until ${day(wait.until)}` : ""}.`)),
    h("h2", {}, "Steps"),
    h("ol", { class: "steps" }, order.steps.map((step) => stepRow(order, step, view))),
    await finishing(order, view),
    h("h2", {}, "More"),
    order.finished ? null : [partDone(order, view), waiting(order, view), temporaryWork(order, view), parts(order, view)],
    readings(order, view),
    about(joint, view),
  ];
  return sheet;
}

const held = (hold, order, bundle) => h("section", { class: "hold-banner", "aria-label": "Hold" },
  h("p", { class: "hold-head" }, holdMark("Held: not to be used")), h("p", {}, h("strong", {}, `${heldPlace(hold, order, bundle.assets[order.asset])}: `), hold.reason),
  h("p", { class: "small" }, `Placed by ${hold.by}, ${moment(hold.at)}. ${bundle.sites[order.site].lifts || "Nobody here is named"} can lift it, never who did the work.`));

function heldPlace(hold, order, asset) {
  if (!hold.joint) return `All of ${asset.words}`;
  return hold.joint === order.joint ? "This joint" : `${asset.tag}, because of ${hold.where}`;
}

function stepRow(order, step, view) {
  const joint = view.bundle.joints[order.joint];
  const row = h("li", { id: `step-${step.sequence}`, class: step.done_at ? "done" : null },
    h("p", {}, step.text, step.required ? "" : h("span", { class: "muted small" }, " (may be left out)")));
  if (step.sheet && joint.bolts && order.may_check_bolts && !order.finished && !step.done_at) row.append(h("p", {}, h("a", { class: "button", href: `#bolts/${order.id}` }, "Bolt sheet", h("span", { class: "visually-hidden" }, `: ${step.text}`))));
  if (step.done_at) {
    const said = step.value ? `${step.value} ${step.unit}, ` : "";
    const photo = step.here?.photo ? `photo ${megabytes(step.here.photo.size)}, ` : "";
    row.append(h("p", { class: "small" }, `${said}${photo}${moment(step.done_at)}${step.here ? ", on this device, not sent" : ""} `,
      step.here && mayChange(step.here) ? button("Take back", () => take(step.here)) : ""));
  } else if (order.may_work && order.state !== "waiting" && !order.finished) row.append(stepInput(order, step, view));
  return row;
}

function stepInput(order, step, view) {
  const deed = (body, more = {}) => view.queue([{
    kind: "step", sequence: step.sequence, order: order.id, seen: order.version, path: `/api/v1/orders/${order.id}/steps/${step.sequence}/`,
    words: `Step ${step.sequence} of ${order.title}${body.value ? `: ${body.value} ${step.unit}` : ""}`, body, edit: step.kind === "value" ? ["value"] : [], ...more,
  }]);
  if (step.kind === "photo") {
    const row = photoField("Take the photo", async (file) => { const { blob, name } = await shrink(file); await deed({}, { photo: blob, photoName: name }); });
    row.querySelector("input").setAttribute("capture", "environment");
    row.querySelector("input").setAttribute("aria-label", `Photo: ${step.text}`);
    return row;
  }
  if (step.kind === "tick") return button(["Done", h("span", { class: "visually-hidden" }, `: ${step.text}`)], () => deed({}), "big");
  const id = newId("value");
  const input = h("input", { id, maxlength: 64, autocomplete: "off", inputmode: step.unit ? "decimal" : "text", placeholder: step.unit || "what it says" });
  return h("form", { class: "actions", onsubmit: (event) => { event.preventDefault(); if (input.value.trim()) deed({ value: input.value.trim() }); else input.focus(); } },
    h("label", { class: "visually-hidden", for: id }, step.text), input, h("button", { class: "button" }, "Note it"));
}

async function finishing(order, view) {
  const look = order.kind === "inspect";
  const head = h("h2", { id: "finish" }, look ? "What did you see?" : "Finish the work");
  if (order.finished) return [head, h("p", { class: "note" }, "Finished on this device. It waits to be sent; nothing is lost if you close this page.")];
  if (!order.may_work || order.state === "waiting") return null;
  if (order.who_could) return [head, h("p", { class: "note" }, `You cannot sign ${order.method} here today; ${order.who_could} could. Do the steps, and note it part done.`)];
  const draft = await draftOf(draftName(view.bundle.person.id, order.id));
  return [head, finishForm(order, draft, { bundle: view.bundle, redraw: view.redraw, done: view.done })];
}

function small(summary, fields, words, submit) {
  const wrong = h("p", { class: "field-error", role: "alert", hidden: true });
  return h("details", {}, h("summary", {}, summary), h("form", { class: "form", novalidate: true, onsubmit: async (event) => {
    event.preventDefault();
    const said = await submit();
    wrong.hidden = !said;
    wrong.textContent = said || "";
    if (!said) event.target.reset();
  } }, fields, wrong, h("div", { class: "actions" }, h("button", { class: "button primary" }, words))));
}

function partDone(order, view) {
  if (!order.may_work || order.state === "waiting") return null;
  const note = h("textarea", { rows: 2 });
  const minutes = h("input", { inputmode: "numeric", autocomplete: "off" });
  return small("Part of it is done", [field("What is done, what is left", note), field("Time spent, minutes", minutes)], "Note it part done", () => {
    if (!note.value.trim()) return "Say what is done and what is left.";
    if (!/^\d*$/.test(minutes.value.trim())) return "Time spent: whole minutes, 0 or more.";
    return view.queue([{ kind: "part done", words: `${order.title}: part done`, path: `/api/v1/orders/${order.id}/part-done/`, order: order.id,
      seen: order.version, body: { note: note.value.trim(), minutes_spent: Number(minutes.value || 0) }, edit: ["note"] }]);
  });
}

function waiting(order, view) {
  if (order.state === "waiting") {
    return h("div", { class: "actions" }, button("What it waited for has come", () => view.queue([{ kind: "end wait", words: `${order.title} goes on`,
      path: `/api/v1/orders/${order.id}/end-wait/`, order: order.id, seen: order.version, body: {} }]), "big"));
  }
  let reason = view.bundle.waits[0][0];
  const note = h("input", { maxlength: 200, autocomplete: "off" });
  const until = h("input", { type: "date" });
  return small("It has to wait", [field("For what", choice(view.bundle.waits, reason, (value) => { reason = value; })), field("Note", note),
    field("Expected until, where known", until)], "It waits", () => view.queue([{ kind: "wait", words: `${order.title} waits for ${reason}`,
    path: `/api/v1/orders/${order.id}/wait/`, order: order.id, seen: order.version, edit: ["note"],
    body: { reason, ...(note.value.trim() ? { note: note.value.trim() } : {}), ...(until.value ? { expected_until: until.value } : {}) } }]));
}

// A permit, lifting, strongbacks, shoring: two steps more, put on and taken off again.
function temporaryWork(order, view) {
  if (!order.may_work) return null;
  const kinds = view.bundle.temporary;
  let what = kinds[0][0];
  const note = h("input", { maxlength: 80, autocomplete: "off" });
  return small("Temporary works or a permit", [field("What is put on", choice(kinds, what, (value) => { what = value; })), field("Which, and where", note),
    h("p", { class: "help" }, "It becomes two steps: put on, and taken off again before the order is finished.")], "Add the steps", () =>
    view.queue([{ kind: "temporary work", words: `${kinds.find(([code]) => code === what)[1]} for ${order.title}`, path: `/api/v1/orders/${order.id}/temporary-work/`, order: order.id, seen: order.version,
      steps: kinds.find(([code]) => code === what), body: { what, note: note.value.trim() }, edit: ["note"] }]));
}

function parts(order, view) {
  const name = h("input", { maxlength: 120, autocomplete: "off" });
  const quantity = h("input", { inputmode: "numeric", value: "1", autocomplete: "off" });
  const listed = order.parts.length ? h("ul", {}, order.parts.map((part) => h("li", {}, `${part.quantity} × ${part.name}${part.here ? ", not sent" : ""}`))) : null;
  return small("Parts used or needed", [listed, field("Part", name), field("How many", quantity)], "Note the part", () => {
    if (!name.value.trim()) return "Say which part.";
    if (!/^[1-9]\d*$/.test(quantity.value.trim())) return "How many: a whole number from 1.";
    return view.queue([{ kind: "part", words: `${quantity.value} × ${name.value.trim()} for ${order.title}`, path: `/api/v1/orders/${order.id}/add-part/`,
      order: order.id, seen: order.version, body: { name: name.value.trim(), quantity: Number(quantity.value) }, edit: ["name"] }]);
  });
}

function readings(order, view) {
  return view.bundle.counters.filter((counter) => counter.asset === order.asset).map((counter) => {
    const value = h("input", { inputmode: "decimal", autocomplete: "off" });
    const last = counter.last_on ? `Last read ${day(counter.last_on)}: ${counter.last_value} ${counter.unit}.` : "Never read yet.";
    return small(`Read the counter: ${counter.name}`, [field(`It shows, ${counter.unit}`, value, h("p", { class: "help" }, last))], "Note the reading", () => {
      const number = Number(value.value.replace(/[\s\u00a0]/g, "").replace(",", "."));
      if (!value.value.trim() || !(number >= 0)) return "Write the number that it shows.";
      return view.queue([{ kind: "reading", words: `${counter.name} of ${view.bundle.assets[counter.asset].words}: ${number}`, path: "/api/v1/readings/",
        body: { counter: counter.id, value: number, read_at: new Date().toISOString() }, edit: ["value"] }]);
    });
  });
}

function about(joint, view) {
  const drawn = [joint.drawing, joint.touch].filter(Boolean).map((one) => h("figure", { class: "drawing" }, drawing(one.svg),
    h("details", {}, h("summary", {}, "The drawing in words"), h("ul", {}, one.words.map((line) => h("li", {}, line))))));
  const photos = joint.photos.map((photo) => h("li", {}, h("img", { src: `/api/v1/steel/photos/${photo.id}.jpg`, loading: "lazy", alt: `Photo of ${day(photo.at)}${photo.caption ? `, ${photo.caption}` : ""}` }), h("p", { class: "small" }, day(photo.at)), markIt(photo, view)));
  return [h("h2", {}, `${joint.tag} ${joint.name}`),
    joint.findings.length ? h("ul", {}, joint.findings.map((one) => h("li", {}, `${one.words}${one.size ? `, ${one.size}` : ""}, found ${day(one.found_on)}: ${one.severity}`))) : h("p", {}, "Nothing open on this joint."),
    drawn, photos.length ? h("ul", { class: "photos" }, photos) : null];
}

// A mark on a past photo is a deed of its own.
function markIt(photo, view) {
  const place = h("div", { class: "steel-marking" });
  const said = h("p", { class: "small", role: "status" });
  const open = button("Mark it", async () => {
    open.disabled = true;
    try {
      place.replaceChildren(await marker(`/api/v1/steel/photos/${photo.id}.jpg`, [], async (mark) => {
        await view.queue([{ kind: "mark", words: `Mark on the photo of ${day(photo.at)}${mark.text ? `: ${mark.text}` : ""}`, path: `/api/v1/evidence/${photo.id}/marks/`, body: mark, edit: ["text"] }]);
        place.replaceChildren();
        said.textContent = "Marked; it goes when there is signal.";
      }));
    } catch { said.textContent = "This photo is not on the device."; }
  });
  return [open, place, said];
}

export const queueFor = (view) => async (deeds, clearDraft = "") => { await add(view.bundle.person, deeds, clearDraft); view.done(); };
