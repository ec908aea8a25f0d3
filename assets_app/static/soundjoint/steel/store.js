// What the device keeps: the bundle, the deeds that wait to be sent, and what is half typed. In IndexedDB, so that a
// closed tab or an empty battery loses nothing.
const NAME = "soundjoint-steel";
const TABLES = { queue: { keyPath: "seq", autoIncrement: true }, kept: {}, drafts: {} };
let opening = null;

export function open() {
  opening ||= new Promise((resolve, reject) => {
    const asked = indexedDB.open(NAME, 1);
    asked.onupgradeneeded = () => {
      for (const [name, options] of Object.entries(TABLES)) asked.result.createObjectStore(name, options);
    };
    asked.onsuccess = () => {
      asked.result.onversionchange = () => { asked.result.close(); opening = null; };
      resolve(asked.result);
    };
    asked.onerror = () => reject(asked.error);
  });
  return opening;
}

// Runs `work(table)` in one transaction and gives what it returned once everything is on the disk. `work` must not wait
// for anything but requests of the transaction: give those through `got`.
export async function write(tables, work, durability = "strict") {
  const database = await open();
  return new Promise((resolve, reject) => {
    const deal = database.transaction(tables, "readwrite", { durability });
    let answer;
    deal.oncomplete = () => resolve(answer);
    deal.onabort = () => reject(deal.error || new Error("nothing was written"));
    Promise.resolve(work((name) => deal.objectStore(name))).then(
      (said) => { answer = said; },
      (error) => { try { deal.abort(); } catch { /* over already */ } reject(error); },
    );
  });
}

export async function read(table, ask) {
  const database = await open();
  return got(ask(database.transaction(table).objectStore(table)));
}

export function got(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

export const kept = (name) => read("kept", (table) => table.get(name));
// What the server can give again need not wait for the disk.
export const keep = (values) => write(["kept"], (table) => {
  for (const [name, value] of Object.entries(values)) table("kept").put(value, name);
}, "relaxed");

// Everything of ours leaves the device.
export async function clearDevice() {
  await write(Object.keys(TABLES), (table) => { for (const name of Object.keys(TABLES)) table(name).clear(); });
  if (self.caches) await caches.delete("steel-photos");
  tell("cleared");
}

// Other tabs of this page, and its service worker, hear that something changed.
const channel = self.BroadcastChannel ? new BroadcastChannel("soundjoint-steel") : null;
const listeners = [];
export function tell(what) {
  for (const listener of listeners) listener(what);
  if (channel) channel.postMessage(what);
}
export function onChange(listener) {
  listeners.push(listener);
  if (channel) channel.onmessage = (event) => { for (const each of listeners) each(event.data); };
}
