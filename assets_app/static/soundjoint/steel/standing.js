// An order as it stands on this device: what the server said, and on top of it what was done here and is not sent yet.
export function standing(order, items) {
  const mine = items.filter((item) => item.order === order.id);
  const here = structuredClone(order);
  here.pending = mine;
  here.finished = false;
  for (const item of mine) {
    if (item.kind === "step") {
      const step = here.steps.find((each) => each.sequence === item.sequence);
      if (step) Object.assign(step, { done_at: item.at, value: item.body.value || "", here: item });
    }
    if (item.kind === "temporary work") {
      const last = Math.max(0, ...here.steps.map((each) => each.sequence));
      const [, , on, onKind, off] = item.steps;
      const note = item.body.note ? `: ${item.body.note}` : "";
      here.steps.push({ sequence: last + 1, text: on + note, kind: onKind, unit: "", required: true, value: "", done_at: null },
        { sequence: last + 2, text: off + note, kind: "tick", unit: "", required: true, value: "", done_at: null });
    }
    if (item.kind === "wait") {
      here.state = "waiting";
      here.waits = [{ reason: item.body.reason, note: item.body.note || "", since: item.at, until: item.body.expected_until }];
    }
    if (item.kind === "end wait") Object.assign(here, { state: "part done", waits: [] });
    if (item.kind === "part done") here.state = "part done";
    if (item.kind === "finish") here.finished = true;
    if (item.kind === "part") here.parts.push({ name: item.body.name, quantity: item.body.quantity, here: item });
  }
  return here;
}

export const stepsLeft = (order) => order.steps.filter((step) => step.required && !step.done_at);
