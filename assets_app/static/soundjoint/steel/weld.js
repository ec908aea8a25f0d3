// Who welded a repair, by which process and in which position. The service compares it with the certificates; what this
// device has of them is as old as the sheet, so here it only warns.
import { choice, field, h } from "./dom.js";
import { day } from "./words.js";

export function weldFields(draft, { bundle, site, joint, save }) {
  const welders = site.welders || [];
  draft.weld ||= { welder: welders.some((one) => one.id === bundle.person.id) ? String(bundle.person.id) : "", process: joint.process || "", position: "" };
  const weld = draft.weld;
  const told = h("p", { class: "help", "aria-live": "polite" });
  const show = () => { told.textContent = covers(weld, welders); };
  const set = (name, value) => { weld[name] = value; save(); show(); };
  const process = h("input", { value: weld.process, inputmode: "numeric", maxlength: 8, autocomplete: "off", oninput: () => set("process", process.value.trim()) });
  show();
  const without = joint.process ? `Left empty it counts as ${joint.process}, as the register has it.` : "The register does not know it. Left empty it is not checked.";
  return [welders.length ? field("Who welded", choice(welders.map((one) => [one.id, one.name]), weld.welder, (value) => set("welder", value), "choose"))
    : h("p", { class: "note" }, "As of this sheet nobody here may weld today. Note it part done, and ask the manager of the site whose certificate is missing."),
  welders.length ? told : null,
  field("Welding process, by its number", process, h("p", { class: "help" }, `Such as 135; it stands on the welding procedure. ${without}`)),
  field("Welding position", choice(bundle.positions.map(([symbol, words]) => [symbol, `${symbol} ${words}`]), weld.position, (value) => set("position", value), "not known, not checked"))].filter(Boolean);
}

// What the certificates of the welder cover, and whether this weld is among it, by what the device knows.
function covers(weld, welders) {
  const who = welders.find((one) => String(one.id) === weld.welder);
  if (!who) return "Who welded answers for it: a certificate must cover the process and the position.";
  const fits = who.holds.some(([process, positions]) => (!weld.process || process === weld.process) && (!weld.position || positions.split(" ").includes(weld.position)));
  const held = who.holds.map(([process, positions, until]) => `${process} in ${positions || "no position named"} until ${day(until)}`).join("; ");
  return `${who.name}: ${held}.${fits ? "" : " This weld is not among it: the service will refuse it."}`;
}

export const weldWrong = (draft) => (draft.weld?.welder ? [] : ["Say who welded."]);

export function weldSent({ weld }) {
  return { welder_id: Number(weld.welder), ...(weld.process ? { process: weld.process } : {}), ...(weld.position ? { position: weld.position } : {}) };
}
