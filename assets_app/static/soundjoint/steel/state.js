// The line at the top: how old the sheet is, what is not sent, and what to do about it. Its parts are made once and stay
// the same elements for as long as the page is open: news never takes a button from under a finger.
import { button, h } from "./dom.js";
import { NEEDS_YOU } from "./queue.js";
import { BUSY, MOST_WRONG, NO_SIGNAL, SIGNED_OUT } from "./sending.js";
import { total } from "./unsent.js";
import { many, moment, wrongBy } from "./words.js";

// Gives the function that shows what is so now: { bundle, items, fetched, outcome, trouble, skew }.
export function stateLine(place, { signIn, send }) {
  const line = {
    trouble: h("strong", { role: "alert" }), clock: h("strong", {}), signal: h("span", { class: "steel-signal" }),
    unsent: h("a", { href: "#unsent" }), fine: h("span", {}, "Everything is sent."), now: button("Send now", send),
    signIn: h("a", { class: "button primary", href: `${signIn}?next=/steel/` }),
  };
  for (const part of Object.values(line)) part.hidden = true;
  place.replaceChildren(...Object.values(line));
  return (now) => {
    const { bundle, items, outcome } = now;
    const needs = items.filter((item) => item.state === NEEDS_YOU).length;
    say(line.trouble, now.trouble);
    say(line.clock, Math.abs(now.skew || 0) > MOST_WRONG ? `The clock of this device is ${wrongBy(now.skew)}. What you note here is given its right time when it is sent.` : "");
    say(line.signal, age(outcome, now.fetched));
    say(line.unsent, items.length ? `${total(items)}${needs ? `, ${many(needs, "needs", "need")} you` : ""}` : "");
    line.fine.hidden = !bundle || items.length > 0;
    line.now.hidden = !items.length || outcome === SIGNED_OUT;
    say(line.signIn, outcome === SIGNED_OUT ? (items.length ? "Sign in to send" : "Sign in") : "");
  };
}

function say(part, words) {
  if (part.textContent !== words) part.textContent = words;
  part.hidden = !words;
}

function age(outcome, fetched) {
  const since = fetched ? `As of ${moment(fetched)}.` : "";
  if (outcome === NO_SIGNAL) return `No signal. ${since}`;
  if (outcome === SIGNED_OUT) return `Signed out. ${since}`;
  return outcome === BUSY ? `The service is busy. ${since}` : since;
}
