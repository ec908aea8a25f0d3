// Where a crack lies along a weld's run, from the two ends that were touched, and how long that makes it. A run is a ring
// of 360 degrees clockwise from the top round a tube, or `total` mm from the datum end on a plate. The phone and the desk
// both take it from here.

// From `first` to `second` as { start, end, span, middle }. Round a tube start to end is clockwise, by the shorter way or,
// asked for, the longer one; two ends at one place are nothing by the shorter way and all round by the longer.
export function between(first, second, { total = 0, longer = false } = {}) {
  if (total) return { start: Math.min(first, second), end: Math.max(first, second), span: Math.abs(second - first), middle: (first + second) / 2 };
  const round = (((second - first) % 360) + 360) % 360;
  const onward = (round <= 180) !== longer;
  const start = onward ? first : second, span = onward ? round : 360 - round;
  return { start, end: onward ? second : first, span, middle: (start + span / 2) % 360 };
}

// Length along the surface of a tube of that outer diameter: pi * D * angle / 360, in mm. null: the diameter is not known.
export const arcMm = (diameterMm, angle) => (diameterMm > 0 ? (Math.PI * diameterMm * angle) / 360 : null);

// The length as a field takes it: whole mm, upwards, since a crack that is said too short is the one that hurts. A touch
// is no finer than that.
export const suggested = (mm) => (mm > 0 ? `${Math.ceil(mm - 1e-9)} mm` : "");

// What a length field holds once the drawing suggests one: what a person typed stays, and what they took out stays out
// until the drawing says something else. `drawn` is what the drawing put there before; a suggestion of "" takes it back.
export function filled(now, drawn, suggestion) {
  if (now.trim() && now !== drawn) return { now, drawn: "", typed: true };
  return { now: !now.trim() && drawn === suggestion ? "" : suggestion, drawn: suggestion, typed: false };
}

// Degrees clockwise from the top as a clock position, to five minutes of the dial, as the service says it: 150 is 5:00.
export function clock(degrees) {
  const steps = Math.round((((degrees % 360) + 360) % 360) / 2.5) % 144;
  return `${Math.floor(steps / 12) || 12}:${String((steps % 12) * 5).padStart(2, "0")}`;
}

export const rounded = (value) => String(Math.round(value * 10) / 10);
