// Deeds done on this device that the server does not have yet: in order, each with a key under which it is done once.
import { got, read, tell, write } from "./store.js";

export const WAITS = "waits";
export const NEEDS_YOU = "needs you";

// A deed: { kind, words, path, body, order, seen, photo, edit, parent }. `order` is the order it belongs to and `seen`
// its version as the person saw it; deeds of one lane are sent one after the other. `edit` names the fields that can be
// put right, `parent` the key of the deed that it came with (a photo with its finish).
export async function add(person, deeds, clearDraft = "") {
  await write(["queue", "drafts", "kept"], async (table) => {
    const moves = (await got(table("kept").get("moves"))) || [];
    const orders = (await got(table("kept").get("bundle")))?.orders || [];
    for (const deed of deeds) table("queue").add(fresh(person, { ...deed, seen: movedOn(deed, moves), about: aboutOf(deed, orders) }));
    if (clearDraft) table("drafts").delete(clearDraft);
  });
  tell("queue");
}

// A sheet that was not drawn anew yet still shows the version before a deed of this device that was sent meanwhile: the
// person who saw it and did that deed has seen what it made. So has who was told by a refusal (`sawChanges`). `moves` are
// those steps, [order, from, to], oldest first.
function movedOn(deed, moves) {
  let seen = deed.seen ?? null;
  for (const [order, from, to] of moves) if (order === deed.order && from === seen) seen = to;
  return seen;
}

// What is to be known of the order even when it has left this device.
function aboutOf(deed, orders) {
  const order = orders.find((each) => each.id === deed.order);
  return order ? { joint: order.joint, method: order.method, number: order.number } : null;
}

function fresh(person, deed) {
  return {
    key: crypto.randomUUID(), lane: deed.order ? `order ${deed.order}` : `alone ${crypto.randomUUID()}`,
    at: new Date().toISOString(), person: person.id, personName: person.name, state: WAITS, fixed: null, tries: 0,
    refusal: null, photo: null, seen: null, edit: [], parent: null, ...deed,
  };
}

// Another state of an order that the person knows of, for deeds from a sheet that still shows the one before.
const MOST_MOVES = 50; // that are remembered
export async function remember(table, move) {
  const moves = (await got(table("kept").get("moves"))) || [];
  table("kept").put([...moves, move].slice(-MOST_MOVES), "moves");
}

// Who was told what changed meanwhile, and goes on from there, has seen it: the next deed is not refused for it again.
export const sawChanges = (item) => write(["kept"], (table) => remember(table, [item.order, item.seen, item.refusal.version]));

export const newKey = () => crypto.randomUUID();
export const all = () => read("queue", (table) => table.getAll());

export async function change(seq, edit) {
  await write(["queue"], async (table) => {
    const item = await got(table("queue").get(seq));
    if (!item) return;
    edit(item);
    table("queue").put(item);
  });
  tell("queue");
}

// Put right and sent again. Only what the server refused or never got may change: see `mayChange`.
export const putRight = (seq, fields) => change(seq, (item) => {
  Object.assign(item.body, fields);
  Object.assign(item, { fixed: null, state: WAITS, refusal: null });
});

// Mine onto what stands now: every deed of the order that was decided on an older state goes onto the new one.
export async function onto(item, version) {
  await write(["queue"], async (table) => {
    for (const each of await got(table("queue").getAll())) {
      if (each.lane !== item.lane || each.seen === null || each.seen > version) continue;
      Object.assign(each, { seen: version, fixed: null });
      if (each.seq === item.seq) Object.assign(each, { state: WAITS, refusal: null });
      table("queue").put(each);
    }
  });
  tell("queue");
}

// Which deeds wait for one before them in their lane; `stuck` says which do not go now. A photo holds up nothing, and a
// step whose photo was refused only the finish of its order.
export function behind(items, stuck) {
  const held = new Set(), lanes = new Set(), steps = new Set();
  for (const item of items) {
    if (lanes.has(item.lane) || (item.kind === "finish" && steps.has(item.lane))) {
      held.add(item.seq);
      lanes.add(item.lane);
    } else if (stuck(item) && item.kind !== "photo") (isRefusedPhoto(item) ? steps : lanes).add(item.lane);
  }
  return held;
}

// Not where the order stands otherwise than the person saw (409): so it does for all that follows.
const isRefusedPhoto = (item) => item.state === NEEDS_YOU && Boolean(item.photo) && item.refusal?.status !== 409;

// The photo once more, in place of one that was refused; what was drawn on that one lay elsewhere.
export const takeAnew = (seq, { blob, name }) => change(seq, (item) => {
  delete item.body.marks;
  Object.assign(item, { photo: blob, photoName: name, words: item.words.replace(item.photoName, () => name), fixed: null, state: WAITS, refusal: null });
});

// Taken back, with what came with it. Gives what was taken.
export async function take(item) {
  const taken = await write(["queue"], async (table) => {
    const found = (await got(table("queue").getAll())).filter((each) => each.seq === item.seq || each.parent === item.key);
    for (const each of found) table("queue").delete(each.seq);
    return found;
  });
  tell("queue");
  return taken;
}

// What was sent without an answer may have been done: it is sent again as it is, never changed or dropped.
export const mayChange = (item) => item.state === NEEDS_YOU || item.fixed === null;
