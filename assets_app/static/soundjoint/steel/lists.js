// My orders by place: today's first, then what waits, then later.
import { h, holdMark } from "./dom.js";
import { standing } from "./standing.js";
import { day, due, many } from "./words.js";

export function listSheet(bundle, items) {
  const orders = bundle.orders.map((order) => standing(order, items));
  const ready = orders.filter((order) => order.state !== "waiting" && !order.finished);
  const groups = [
    ...byPlace(ready.filter((order) => order.for_today)).map(([place, rows]) => [`Today at ${place}`, rows]),
    ["Finished here, not sent", orders.filter((order) => order.finished)],
    ["Waiting", orders.filter((order) => order.state === "waiting" && !order.finished)],
    ...byPlace(ready.filter((order) => !order.for_today)).map(([place, rows]) => [`Later at ${place}`, rows]),
  ];
  return [
    h("div", { class: "page-head" }, h("h1", {}, "My orders"), h("p", {}, `${many(orders.length, "order")} on this device, with drawings and past photos.`)),
    orders.length ? null : h("div", { class: "empty" }, h("p", {}, "No order is yours now. With signal, take one under My work.")),
    groups.filter(([, rows]) => rows.length).map(([title, rows]) => [h("h2", {}, title), h("ul", { class: "one-tap" }, rows.map((order) => row(order, bundle)))]),
    bundle.left_out ? h("p", { class: "note" }, `${many(bundle.left_out, "later order is", "later orders are")} not on this device.`) : null,
  ];
}

function row(order, bundle) {
  const { state, words } = due(order.due_on, bundle.sites[order.site].today);
  const held = bundle.assets[order.asset].holds.length;
  return h("li", {}, h("a", { href: `#order/${order.id}` }, h("span", { class: "title" }, order.title), h("br"),
    h("span", { class: "small" }, held ? [holdMark("Held"), " · "] : "", `${bundle.assets[order.asset].words} · `,
      order.planned_on ? `planned for ${day(order.planned_on)}, ` : "", h("span", { class: "due", "data-state": state }, words), order.put_off_until ? `, put off until ${day(order.put_off_until)}` : "", order.pending.length ? ` · ${order.pending.length} not sent` : "")));
}

function byPlace(orders) {
  const places = new Map();
  for (const order of orders) places.set(order.place, [...(places.get(order.place) || []), order]);
  return [...places];
}
