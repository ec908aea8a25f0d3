// An order that ended elsewhere (on another phone, by another person) while this device still had deeds for it: nothing
// more goes onto it. What was seen is kept as a look of its own, with every photo and what was noted on the way.
import { WAITS } from "./queue.js";
import { got, tell, write } from "./store.js";

const AT_WORK = ["open", "waiting", "part done"];

export const hasEnded = ({ refusal }) => Boolean(refusal?.state) && ["order_changed", "order_state"].includes(refusal.code) && !AT_WORK.includes(refusal.state);

// What of an order's deeds can be kept: { look, photos, all }. An order that this device no longer has gives none but `all`.
export function keepable(item, items) {
  const all = items.filter((each) => each.lane === item.lane);
  const kept = aboutOf(all) ? all : [];
  return { look: kept.some(isLook), photos: kept.filter((each) => each.photo).length, all };
}

const aboutOf = (lane) => lane.find((each) => each.about)?.about;
const isLook = (item) => item.kind === "finish" && Boolean(item.body.look);

// In one transaction, so that nothing is ever neither here nor there.
export async function keepAside(item) {
  await write(["queue"], async (table) => {
    const lane = (await got(table("queue").getAll())).filter((each) => each.lane === item.lane);
    const finish = lane.find(isLook), about = aboutOf(lane);
    for (const each of lane) table("queue").delete(each.seq);
    const others = lane.filter((each) => each.photo || each.seen === null).map((each) => aside(each, about, finish));
    for (const { seq, ...row } of [...(finish ? looks(finish, about, noted(lane)) : []), ...others]) table("queue").add(row);
  });
  tell("queue");
}

export async function dropAll(item) {
  await write(["queue"], async (table) => {
    for (const each of await got(table("queue").getAll())) if (each.lane === item.lane) table("queue").delete(each.seq);
  });
  tell("queue");
}

const anew = (item) => ({ ...item, lane: `aside ${item.lane}`, seen: null, fixed: null, state: WAITS, refusal: null, tries: 0 });

// The look of a finish: by the bolt sheet where there is one, and what else was found beside it.
function looks(finish, { joint, method, number }, words) {
  const { bolts, findings, result, ...look } = finish.body.look;
  const note = [look.note, `Sent beside order ${number}, which had ended before this came.`, words].filter(Boolean).join(" ");
  const row = { ...anew(finish), words: finish.words.replace(/^Finish/, "A look of its own:"), edit: [], draft: null };
  const plain = { ...row, kind: "look", path: "/api/v1/inspections/", body: { ...look, joint, method, result, findings, note } };
  if (!bolts) return [plain];
  const { inspected_at, conditions } = look;
  const sheet = { ...row, kind: "bolt sheet", path: "/api/v1/bolt-sheets/", body: { joint, inspected_at, conditions, bolts, note } };
  return findings.length ? [sheet, { ...plain, key: crypto.randomUUID(), body: { ...plain.body, result: "findings" } }] : [sheet];
}

function aside(item, about, finish) {
  if (!item.photo) return anew(item); // a bolt sheet or the like, which was never the order's
  const step = item.kind === "step" ? `, step ${item.sequence}` : "";
  const body = item.kind === "photo" ? item.body : { joint: about.joint, caption: `order ${about.number}${step}` };
  return { ...anew(item), kind: "photo", path: "/api/v1/evidence/", body, parent: finish ? finish.key : null, edit: [] };
}

// What people wrote in deeds that the order does not take any more.
function noted(lane) {
  const said = lane.map(({ kind, sequence, body }) => (kind === "step" && body.value ? `step ${sequence}: ${body.value}` : kind === "part" ? `${body.quantity} × ${body.name}` : ["part done", "wait"].includes(kind) ? body.note : ""));
  return said.some(Boolean) ? `Noted on the way: ${said.filter(Boolean).join("; ")}.` : "";
}
