// Which asset and joint: one that this device has, or one of which only the tags are known, as they stand on the steel.
import { choice, field, h, radios } from "./dom.js";

const TYPED = "typed";
const KINDS = [["weld", "a weld"], ["bolted", "bolts"]];

// Fills `place`: { asset, joint, site, asset_tag, joint_tag, kind }; asset is an id, or TYPED. `whole`: all of an asset
// may be meant too. `again` keeps what is typed and draws the sheet anew.
export function whereFields(place, { bundle, whole, save, again }) {
  const assets = Object.entries(bundle.assets).map(([id, asset]) => [id, asset.words]);
  if (!place.asset || !(place.asset === TYPED || bundle.assets[place.asset])) Object.assign(place, { asset: assets.length ? assets[0][0] : TYPED, joint: "" });
  const asset = field("On what", choice([...assets, [TYPED, "something else: type its tag"]], place.asset, (value) => { Object.assign(place, { asset: value, joint: "" }); again(); }));
  if (place.asset === TYPED) return [asset, ...typedFields(place, { bundle, whole, save, again })];
  const joints = bundle.assets[place.asset].joints.map(([id, tag, words]) => [id, `${tag} ${words}`]);
  if (!place.joint && !whole) place.joint = joints.length ? joints[0][0] : "";
  return [asset, field("Where", choice(joints, place.joint, (value) => { place.joint = value; again(); }, whole ? "all of it" : null))];
}

function typedFields(place, { bundle, whole, save, again }) {
  const sites = Object.entries(bundle.sites).map(([id, site]) => [id, site.name]);
  place.site ||= sites.length ? sites[0][0] : "";
  const tag = (label, name, help) => {
    const before = heldBy(place, bundle)?.id;
    const input = h("input", { value: place[name] || "", maxlength: 64, autocomplete: "off", autocapitalize: "characters", spellcheck: "false",
      oninput: () => { place[name] = input.value; save(); }, onchange: () => { if (heldBy(place, bundle)?.id !== before) again(); } });
    return field(label, input, help ? h("p", { class: "help" }, help) : null);
  };
  place.kind ||= KINDS[0][0];
  const held = heldBy(place, bundle);
  if (held) place.kind = held.kind; // as the register has it
  return [sites.length > 1 ? field("Site", choice(sites, place.site, (value) => { place.site = value; again(); })) : null,
    tag("Tag of the asset, as it stands there", "asset_tag"),
    tag(whole ? "Tag of the joint; left empty: all of it" : "Tag of the joint", "joint_tag", "The service looks it up when there is signal. If it knows no such tag, it comes back to you under Not sent, with all that you wrote."),
    held ? h("p", { class: "note", role: "status" }, `This device knows it: ${held.label}.`) : null,
    whole ? null : radios("What joint it is", "where-kind", KINDS, place.kind, (value) => { place.kind = value; again(); })].filter(Boolean);
}

// What is known of the place: { joint, label, kind, site, body, typed, wrong }. `joint` is as the device has it, with its
// drawing, or bare; `body` names the place to the service.
export function placed(place, bundle, { whole = false } = {}) {
  if (place.asset === TYPED) return placedByTag(place, bundle, whole);
  const asset = bundle.assets[place.asset];
  const row = asset.joints.find(([id]) => String(id) === String(place.joint));
  const here = bundle.joints[place.joint];
  return { joint: here || bare(bundle, row?.[3], row?.[0]), label: row ? `${row[1]} ${row[2]}` : `all of ${asset.words}`, kind: row ? row[3] : "weld", site: bundle.sites[asset.site],
    body: row ? { joint: Number(place.joint) } : { asset: Number(place.asset) }, typed: false, wrong: row || whole ? [] : ["Say at which joint."] };
}

function placedByTag(place, bundle, whole) {
  const said = { asset_tag: (place.asset_tag || "").trim(), joint_tag: (place.joint_tag || "").trim() };
  const wrong = [said.asset_tag ? "" : "Type the tag of the asset.", said.joint_tag || whole ? "" : "Type the tag of the joint."].filter(Boolean);
  const held = heldBy(place, bundle);
  return { joint: (held && bundle.joints[held.id]) || bare(bundle, place.kind, held?.id), label: [said.asset_tag, said.joint_tag].filter(Boolean).join(" "), kind: place.kind || "weld", site: bundle.sites[place.site],
    body: { site: Number(place.site), ...said }, typed: true, wrong };
}

// The joint of this device that the typed tags name, as the service would match them: { id, label, kind }. What the
// device does not know, or knows twice, is nothing; the service decides for good when it is sent.
function heldBy(place, bundle) {
  if (place.asset !== TYPED || !(place.joint_tag || "").trim()) return null;
  const at = named(Object.values(bundle.assets).filter((asset) => String(asset.site) === String(place.site)), place.asset_tag, (asset) => asset.tag);
  const row = at && named(at.joints, place.joint_tag, ([, tag]) => tag);
  return row ? { id: row[0], label: `${row[1]} ${row[2]} on ${at.words}`, kind: row[3] } : null;
}

// Whatever its capitals and spaces; one written exactly so goes before others.
function named(rows, typed, tagOf) {
  const plain = (tag) => (tag || "").replace(/\s/g, "").toLowerCase();
  const same = rows.filter((row) => plain(tagOf(row)) === plain(typed));
  return same.find((row) => tagOf(row) === (typed || "").trim()) || (same.length === 1 ? same[0] : null);
}

// A joint of which the device has no more than a name and its open findings, or nothing at all: then what was found there
// earlier is not known here. Nobody knows here how its weld runs.
const bare = (bundle, kind, id = null) => ({ findings: bundle.elsewhere?.[id] || [], touch: kind === "weld" ? bundle.unmeasured : null, unknown: id === null || !bundle.elsewhere });
