// The page at the steel: opens from what the device keeps, fetches what is newer, sends what waits.
import { boltSheet } from "./bolts.js";
import { button, h } from "./dom.js";
import { holdSheet } from "./hold.js";
import { listSheet } from "./lists.js";
import { orderSheet, queueFor } from "./order.js";
import { all } from "./queue.js";
import { seenSheet } from "./seen.js";
import { NO_SIGNAL, SIGNED_OUT, askForBundle, keepBundle, sendAll, whoIsThere } from "./sending.js";
import { standing } from "./standing.js";
import { stateLine } from "./state.js";
import { clearDevice, kept, onChange } from "./store.js";
import { total, unsentSheet } from "./unsent.js";
import { many } from "./words.js";

const main = document.getElementById("main");
const said = document.body.dataset;
const showState = stateLine(document.getElementById("state"), { signIn: said.signIn, send: () => send() });
let outcome = "";
let leaving = "";
let trouble = "";
let left = false; // signed out: what is still on its way must not come back onto the device
let newest = null; // the bundle as it came, until the disk has it
let drawnFrom = "";
let drawing = Promise.resolve();

// Draws the sheet, one after the other. It is left as it is while nothing that it was drawn from has changed, save with
// `again`: a form asks for that when what is typed in it changes what it shows.
function show(again = false) {
  const now = drawing.then(() => draw(again));
  drawing = now.catch(() => {});
  return now;
}

async function draw(again) {
  const [stored, items, fetched, skew] = await Promise.all([kept("bundle"), all(), kept("fetched"), kept("skew")]);
  const bundle = stored || newest?.told;
  const seal = sealOf(bundle, items);
  const sheet = again || seal !== drawnFrom ? await sheetOf(bundle, items) : null;
  if (pressed) { pressed.then(() => show(again)); return; }
  const name = bundle ? bundle.person.name : "";
  const who = document.getElementById("who");
  if (who.firstChild?.textContent !== name) who.replaceChildren(h("span", {}, name), h("a", { class: "button", href: "#leave" }, "Sign out"));
  showState({ bundle, items, fetched: fetched || newest?.at, outcome, trouble, skew: skew ?? newest?.skew });
  if (!sheet) return;
  replace(sheet);
  drawnFrom = seal;
  said.usable = "yes";
}

function sealOf(bundle, items) {
  const orders = bundle ? [bundle.seal, bundle.orders.map((order) => [order.id, order.version, order.state])] : outcome;
  const deeds = items.map((item) => [item.seq, item.words, item.state, item.tries, item.refusal, item.seen, item.fixed === null, item.body]);
  return JSON.stringify([location.hash, leaving, orders, deeds]);
}

async function sheetOf(bundle, items) {
  const [name, id] = location.hash.slice(1).split("/");
  const view = { bundle, redraw: () => show(true), send, done: () => send(), go: (hash) => { location.hash = hash; }, open: (order) => { location.hash = `order/${order}`; }, look };
  view.queue = queueFor(view);
  const mine = items.filter((item) => !bundle || item.person === bundle.person.id);
  const order = ["order", "bolts", "seen", "hold"].includes(name) && bundle?.orders.find((each) => each.id === Number(id));
  for (const link of document.querySelectorAll("[data-about]")) link.hash = order ? `${link.dataset.about}/${order.id}` : link.dataset.about;
  if (name === "unsent") return unsentSheet(items, view);
  if (name === "leave") return leaveSheet(items);
  if (!bundle) return h("div", { class: "empty" }, h("h1", {}, "Nothing is on this device yet"), h("p", {}, outcome === SIGNED_OUT ? "Sign in once with signal; then it opens without." : "Open this page once with signal; then it opens without."));
  if (order && name === "bolts") return boltSheet(standing(order, mine), view);
  if (name === "seen") return seenSheet(order || null, view);
  if (name === "hold") return holdSheet(order || null, view);
  if (order) return orderSheet(standing(order, mine), view);
  if (name === "order") return [h("p", { class: "path" }, h("a", { href: "#" }, "My orders")), h("h1", {}, "This order is not open any more"), h("p", {}, "It is done, or not yours any more. What you did here that is not sent stands under Not sent.")];
  return listSheet(bundle, mine);
}

const ACTIVE = "button, input, select, textarea, summary, a, [role=slider], [role=alert]";

// What a person calls an element: its label, or its words.
const callOf = (each) => [each.tagName, each.type === "radio" ? each.value : "", each.labels?.[0]?.textContent ?? each.textContent].join("|");
const calledSo = (call) => [...main.querySelectorAll(ACTIVE)].filter((each) => callOf(each) === call);

// Keeps the place on the sheet, the focus and what is folded out.
function replace(sheet) {
  const opened = new Set([...main.querySelectorAll("details[open] > summary")].map((summary) => summary.textContent));
  const held = document.activeElement, at = [...main.querySelectorAll(ACTIVE)].indexOf(held);
  const call = at < 0 ? "" : callOf(held), nth = at < 0 ? -1 : calledSo(call).indexOf(held);
  const caret = at < 0 ? null : caretOf(held);
  const fresh = h("div", {}, sheet);
  fresh.querySelectorAll("details").forEach((details) => { details.open ||= opened.has(details.querySelector("summary").textContent); });
  carryOver(main, fresh);
  main.replaceChildren(...fresh.childNodes);
  if (at < 0) return;
  const same = calledSo(call)[nth] || main.querySelectorAll(ACTIVE)[at]; // more or fewer may stand before it now
  same?.focus({ preventScroll: true });
  if (caret !== null && caretOf(same) !== null) same.setSelectionRange(caret, caret);
}

const caretOf = (field) => (field && (field.type === "text" || field.tagName === "TEXTAREA") ? field.selectionStart : null);

// What is typed in the small forms, which have no draft, stays through a redraw that the person did not ask for.
function carryOver(from, to) {
  const same = from.dataset.sheet === location.hash;
  from.dataset.sheet = location.hash;
  if (!same) return;
  const fields = (root) => [...root.querySelectorAll("details form input, details form textarea, .steps form input")];
  const labelled = (field, root) => root.querySelector(`label[for="${field.id}"]`)?.textContent;
  const held = new Map(fields(from).filter((field) => field.value).map((field) => [labelled(field, from), field.value]));
  for (const field of fields(to)) if (!field.value && held.has(labelled(field, to))) field.value = held.get(labelled(field, to));
}

// Nothing changes or moves while a finger is down: the tap would be lost. It is drawn when the finger is up.
const LONGEST_PRESS = 20000, AFTER_LIFTING = 50; // ms; the click comes just after the finger is up
let pressed = null;
let up = null;
addEventListener("pointerdown", () => {
  if (!pressed) pressed = new Promise((resolve) => { up = () => { pressed = null; resolve(); }; });
  clearTimeout(up.late);
  up.late = setTimeout(up, LONGEST_PRESS);
}, true);
for (const name of ["pointerup", "pointercancel"]) addEventListener(name, () => { if (up) setTimeout(up, AFTER_LIFTING); }, true);

// Sends what waits, then fetches what is newer.
async function send() {
  await show();
  const answer = await sendAll();
  outcome = answer.outcome;
  if (answer.sent || outcome !== NO_SIGNAL) await fetchNewer();
  await show();
  if ((await all()).length) askForSync();
}

async function fetchNewer(asked = askForBundle()) {
  const answer = await asked;
  outcome = answer.outcome;
  if (!answer.ok || left) return;
  await keepBundle(answer);
  keepPhotos(answer.told);
}

async function look(item) {
  await fetchNewer();
  location.hash = `order/${item.order}`;
}

async function askForSync() {
  const registration = await navigator.serviceWorker?.getRegistration("/steel/");
  await registration?.sync?.register("soundjoint-steel").catch(() => {}); // a wish; opening the page sends as well
}

async function keepPhotos(bundle) {
  if (!self.caches) return;
  const cache = await caches.open("steel-photos");
  const wanted = Object.values(bundle.joints).flatMap((joint) => joint.photos.map((photo) => `/api/v1/steel/photos/${photo.id}.jpg`));
  const there = new Map((await cache.keys()).map((request) => [new URL(request.url).pathname, request]));
  for (const [path, request] of there) if (!wanted.includes(path)) await cache.delete(request);
  for (const path of wanted) if (!there.has(path)) await cache.add(path).catch(() => {});
}

function leaveSheet(items) {
  return [h("h1", {}, "Sign out"),
    items.length ? h("div", { class: "refusal" }, h("p", {}, `${total(items)}. Signing out now removes it from this device for good; nobody has it then.`)) : h("p", {}, "Orders, drawings and photos are removed from this device."),
    leaving ? h("p", { role: "alert" }, leaving) : null,
    h("div", { class: "actions" }, items.length ? button("Send now", send, "primary") : null,
      button(items.length ? `Sign out and lose ${many(items.length, "thing")}` : "Sign out", signOut, items.length ? "grave" : "primary"), h("a", { class: "button", href: "#" }, "Stay"))];
}

async function signOut() {
  const who = await whoIsThere();
  newest = null;
  left = true;
  await clearDevice();
  if (who.outcome === NO_SIGNAL) {
    leaving = "This device is cleared. Without signal the service does not know yet: sign out again when there is signal.";
    return show();
  }
  if (who.ok) await fetch(said.signOut, { method: "POST", headers: { "X-CSRFToken": who.told.csrf } }).catch(() => {});
  location.assign(said.signIn);
}

async function register() {
  if (!navigator.serviceWorker) return;
  const synced = "SyncManager" in self; // where it is known, modules in service workers are too
  await navigator.serviceWorker.register(synced ? "/steel/sw-sync.js" : "/steel/sw.js", { scope: "/steel/", type: synced ? "module" : "classic" });
  await navigator.storage?.persist?.();
}

// A full device, or one that keeps nothing: what was just done is not noted, and the person must know.
function notKept(event) {
  const full = event.reason?.name === "QuotaExceededError";
  if (full) event.preventDefault(); // it is said on the page
  trouble = `${full ? "This device is full" : "This device could not keep it"}: what you did last is not noted. Write it down, or free some space and do it again.`;
  show();
}

async function start() {
  const coming = askForBundle(); // goes out before the disk is asked: on a first visit there is nothing else to show
  onChange((what) => {
    if (what === "cleared") newest = null; // by another tab
    if (what === "queue") trouble = ""; // something was kept again
    clearTimeout(start.soon);
    start.soon = setTimeout(show, 30);
  });
  addEventListener("unhandledrejection", notKept);
  addEventListener("hashchange", async () => { await show(); scrollTo(0, 0); main.focus({ preventScroll: true }); });
  addEventListener("online", send);
  addEventListener("offline", () => { outcome = NO_SIGNAL; show(); });
  document.addEventListener("visibilitychange", () => { if (!document.hidden) send(); });
  const [bundle, items] = await Promise.all([kept("bundle"), all()]);
  if (bundle) await show();
  if (items.length) await send();
  else {
    newest = await coming;
    outcome = newest.outcome;
    await show(); // before it is on the disk
    performance.mark("usable");
    await fetchNewer(coming);
    await show();
  }
  await register().catch(() => {}); // without one the page still works while it is open
}
start();
