// Sends what waits, in order, once. Runs in the page and, where the browser has Background Sync, in the service worker.
import { NEEDS_YOU, WAITS, all, behind, change, mayChange, remember } from "./queue.js";
import { got, keep, kept, tell, write } from "./store.js";

const WHO = "/api/v1/steel/who/";
const BUNDLE = "/api/v1/steel/bundle/";
export const NO_SIGNAL = "no signal";
export const SIGNED_OUT = "signed out";
export const SENT = "sent";
export const BUSY = "busy";
export const MOST_WRONG = 120_000; // ms by which a clock may be wrong and nobody needs to know

// One sender at a time, among all tabs and the service worker; the keys make a second one harmless where there is no
// lock. Gives { outcome, sent, left }.
export async function sendAll() {
  if (!self.navigator.locks) return send();
  return navigator.locks.request("soundjoint-steel-send", { ifAvailable: true }, (lock) =>
    lock ? send() : { outcome: BUSY, sent: 0 });
}

async function send() {
  const waiting = (await all()).some((item) => item.state === WAITS);
  if (!waiting) return { outcome: SENT, sent: 0 };
  const who = await ask(WHO);
  if (!who.ok) return { outcome: who.outcome, sent: 0 };
  who.told.skew = Date.now() - Date.parse(who.told.now);
  await keep({ skew: who.told.skew });
  const tried = new Set();
  let sent = 0;
  for (;;) {
    const items = await all();
    const stuck = (item) => item.state === NEEDS_YOU || item.person !== who.told.id || tried.has(item.seq);
    const held = behind(items, stuck);
    const next = items.find((item) => !stuck(item) && !held.has(item.seq));
    if (!next) return { outcome: SENT, sent };
    const answer = await sendOne(next, who.told);
    if (answer === SENT) sent += 1;
    else if (answer === NO_SIGNAL || answer === SIGNED_OUT) return { outcome: answer, sent };
    else tried.add(next.seq);
    tell("queue");
  }
}

async function sendOne(item, who) {
  if (item.fixed === null) {
    item.fixed = fixed(item, who);
    await change(item.seq, (row) => { row.fixed = item.fixed; });
  }
  let response;
  try {
    response = await fetch(item.path, request(item, who));
  } catch {
    return NO_SIGNAL;
  }
  const told = await response.json().catch(() => ({}));
  if (response.ok) {
    await done(item, told);
    return SENT;
  }
  if (response.status === 401 || (told.detail || "").startsWith("CSRF")) return SIGNED_OUT;
  if (response.status >= 500 || response.status === 429 || told.code === "still_at_work") {
    await change(item.seq, (row) => { row.tries += 1; row.refusal = { status: response.status, detail: told.detail || "" }; });
    return BUSY;
  }
  await change(item.seq, (row) => {
    row.state = NEEDS_YOU;
    row.refusal = { ...told, status: response.status };
  });
  return NEEDS_YOU;
}

// The content as it is sent the first time, and every time after it: the key stands for this content. Times by a clock
// that is wrong are put right by the service's, and none lies ahead of it.
function fixed(item, who) {
  const body = structuredClone(item.body);
  if (item.seen !== null) body.version = item.seen;
  const wrong = Math.abs(who.skew) > MOST_WRONG ? who.skew : 0;
  for (const [holder, name] of [[body, "read_at"], [body, "inspected_at"], [body.look, "inspected_at"]]) {
    if (!holder || !holder[name]) continue;
    const right = Math.min(Date.parse(holder[name]) - wrong, Date.parse(who.now));
    holder[name] = new Date(right).toISOString();
  }
  return body;
}

function request(item, who) {
  const headers = { "Idempotency-Key": item.key, "X-CSRFToken": who.csrf, Accept: "application/json" };
  if (!item.photo) {
    return { method: "POST", headers: { ...headers, "Content-Type": "application/json" }, body: JSON.stringify(item.fixed) };
  }
  const form = new FormData();
  for (const [name, value] of Object.entries(item.fixed)) form.append(name, String(value));
  form.append("photo", item.photo, item.photoName || "photo.jpg");
  return { method: "POST", headers, body: form };
}

// It is done: it leaves the queue in the same transaction in which what follows it moves onto the order's new state.
async function done(item, told) {
  await write(["queue", "kept"], async (table) => {
    const rows = await got(table("queue").getAll());
    const bundle = await got(table("kept").get("bundle"));
    for (const row of rows) {
      if (row.parent === item.key && row.kind === "photo") {
        if (inspectionOf(item, told)) row.body.inspection = inspectionOf(item, told);
        row.body.joint ??= told.joint;
      }
      if (item.seen !== null && row.lane === item.lane && row.seen === item.seen) row.seen = told.version;
      if (row.seq !== item.seq && row.lane === item.lane && mayChange(row)) table("queue").put(row);
    }
    table("queue").delete(item.seq);
    if (item.seen !== null) await remember(table, [item.order, item.seen, told.version]);
    if (item.seen !== null && bundle) table("kept").put(stepOn(bundle, told), "bundle");
  });
}

// The look that a deed wrote: a finished order names it, a bolt sheet too; a look on its own is it.
const inspectionOf = (item, told) => (item.kind === "look" ? told.id : told.inspection);

function stepOn(bundle, told) {
  const at = bundle.orders.findIndex((order) => order.id === told.id);
  if (at < 0 || bundle.orders[at].version >= told.version) return bundle;
  if (!["open", "waiting", "part done"].includes(told.state)) bundle.orders.splice(at, 1);
  else {
    const { version, state, steps, parts } = told;
    const waits = told.waits.filter((wait) => !wait.ended_on).map((wait) => ({ ...wait, until: wait.expected_until }));
    Object.assign(bundle.orders[at], { version, state, steps, parts, waits });
  }
  return bundle;
}

// What is mine now, as it comes: { ok, outcome, told, at, skew }. `told.seal` stands for its content.
export async function askForBundle() {
  const answer = await ask(BUNDLE);
  if (answer.ok) answer.told.seal = answer.seal;
  return answer;
}

export async function keepBundle({ told, at, skew }) {
  await keep({ bundle: told, fetched: at, skew });
  tell("bundle");
}

async function ask(address) {
  try {
    const response = await fetch(address);
    if (response.status === 401 || response.status === 403) return { ok: false, outcome: SIGNED_OUT };
    if (!response.ok) return { ok: false, outcome: BUSY };
    const skew = Date.now() - Date.parse(response.headers.get("Date"));
    return { ok: true, outcome: SENT, told: await response.json(), at: new Date().toISOString(), skew: skew || 0, seal: response.headers.get("ETag") };
  } catch {
    return { ok: false, outcome: NO_SIGNAL };
  }
}

export const whoIsThere = () => ask(WHO);
