// The page at the steel: opens from what the device keeps, fetches what is newer, sends what waits.
import { button, h } from "./dom.js";
import { listSheet } from "./lists.js";
import { orderSheet, queueFor } from "./order.js";
import { NEEDS_YOU, all } from "./queue.js";
import { BUSY, NO_SIGNAL, SIGNED_OUT, refresh, sendAll, whoIsThere } from "./sending.js";
import { standing } from "./standing.js";
import { clearDevice, kept, onChange } from "./store.js";
import { total, unsentSheet } from "./unsent.js";
import { many, moment } from "./words.js";

const main = document.getElementById("main");
const said = document.body.dataset;
let outcome = "";
let leaving = "";
let trouble = "";

async function show() {
  const [bundle, items, fetched] = await Promise.all([kept("bundle"), all(), kept("fetched")]);
  const [name, id] = location.hash.slice(1).split("/");
  const view = { bundle, redraw: show, send, done: () => send(), open: (order) => { location.hash = `order/${order}`; }, look };
  view.queue = queueFor(view);
  const mine = items.filter((item) => !bundle || item.person === bundle.person.id);
  const order = name === "order" && bundle?.orders.find((each) => each.id === Number(id));
  let sheet;
  if (name === "unsent") sheet = unsentSheet(items, view);
  else if (name === "leave") sheet = leaveSheet(items);
  else if (!bundle) sheet = h("div", { class: "empty" }, h("h1", {}, "Nothing is on this device yet"), h("p", {}, outcome === SIGNED_OUT ? "Sign in once with signal; then it opens without." : "Open this page once with signal; then it opens without."));
  else if (order) sheet = await orderSheet(standing(order, mine), view);
  else if (name === "order") sheet = [h("p", { class: "path" }, h("a", { href: "#" }, "My orders")), h("h1", {}, "This order is not open any more"), h("p", {}, "It is done, or not yours any more. What you did here that is not sent stands under Not sent.")];
  else sheet = listSheet(bundle, mine);
  replace(sheet);
  showState(bundle, items, fetched);
  said.usable = "yes";
}

// Keeps the place on the sheet, the focus and what is folded out.
function replace(sheet) {
  const opened = new Set([...main.querySelectorAll("details[open] > summary")].map((summary) => summary.textContent));
  const focused = place(document.activeElement);
  const fresh = h("div", {}, sheet);
  fresh.querySelectorAll("details").forEach((details) => { details.open = opened.has(details.querySelector("summary").textContent); });
  carryOver(main, fresh);
  main.replaceChildren(...fresh.childNodes);
  if (focused !== null) main.querySelectorAll("button, input, select, textarea, summary, a")[focused]?.focus({ preventScroll: true });
}

function place(element) {
  const at = [...main.querySelectorAll("button, input, select, textarea, summary, a")].indexOf(element);
  return at < 0 ? null : at;
}

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

function showState(bundle, items, fetched) {
  document.getElementById("who").replaceChildren(bundle ? `${bundle.person.name} ` : "", h("a", { class: "button", href: "#leave" }, "Sign out"));
  const wrong = trouble ? [h("strong", { role: "alert" }, trouble)] : [];
  const needs = items.filter((item) => item.state === NEEDS_YOU).length;
  const lines = [h("span", { class: "steel-signal" }, words(fetched))];
  if (items.length) lines.push(h("a", { href: "#unsent" }, `${total(items)}${needs ? `, ${many(needs, "needs", "need")} you` : ""}`));
  else if (bundle) lines.push(h("span", {}, "Everything is sent."));
  if (items.length && outcome !== SIGNED_OUT) lines.push(button("Send now", send));
  if (outcome === SIGNED_OUT) lines.push(h("a", { class: "button primary", href: `${said.signIn}?next=/steel/` }, items.length ? "Sign in to send" : "Sign in"));
  document.getElementById("state").replaceChildren(...wrong, ...lines);
}

function words(fetched) {
  const since = fetched ? `As of ${moment(fetched)}.` : "";
  if (outcome === NO_SIGNAL) return `No signal. ${since}`;
  if (outcome === SIGNED_OUT) return `Signed out. ${since}`;
  return outcome === BUSY ? `The service is busy. ${since}` : since;
}

// Sends what waits, then fetches what is newer.
async function send() {
  await show();
  const answer = await sendAll();
  outcome = answer.outcome;
  if (answer.sent || outcome !== NO_SIGNAL) await fetchNewer();
  await show();
  if ((await all()).length) askForSync();
}

async function fetchNewer() {
  const answer = await refresh();
  outcome = answer.outcome;
  if (answer.told) keepPhotos(answer.told);
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

async function start() {
  onChange(() => { clearTimeout(start.soon); start.soon = setTimeout(show, 30); });
  addEventListener("hashchange", async () => { await show(); scrollTo(0, 0); main.focus({ preventScroll: true }); });
  addEventListener("online", send);
  addEventListener("offline", () => { outcome = NO_SIGNAL; show(); });
  document.addEventListener("visibilitychange", () => { if (!document.hidden) send(); });
  if (await kept("bundle")) await show();
  if ((await all()).length) await send();
  else {
    await fetchNewer();
    await show();
  }
  performance.mark("usable");
  await register().catch(() => {}); // without one the page still works while it is open
}

// A full device, or one that keeps nothing: what was just done is not noted, and the person must know.
addEventListener("unhandledrejection", (event) => {
  const full = event.reason?.name === "QuotaExceededError";
  trouble = `${full ? "This device is full" : "This device could not keep it"}: what you did last is not noted. Write it down, or free some space and do it again.`;
  document.getElementById("state").prepend(h("strong", { role: "alert" }, trouble));
});
start();
