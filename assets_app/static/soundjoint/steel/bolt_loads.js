// What lost bolts do to the rest, worked out on the device: the sums of the service's bolt_loads and bolt_group (elastic
// group, EN 1993-1-8:2005, 3.12), held to them by a test. The service works it out again when the sheet is sent.
const SINGULAR = 1e-9, NOTHING = 1e-12;
const MOST_SUBSETS = 5; // beyond this many lost bolts what remains counts as unable to carry
export const LOST = ["missing", "broken", "loose"];

// Worst load on a remaining bolt over that of the intact group, by the worst of some unit loads and of every subset of
// the lost bolts. `points` are [x, y] in mm, `lost` numbers from 1. null: not known; Infinity: what remains cannot carry.
export function rise(points, lost) {
  const numbers = [...new Set(lost)].sort((a, b) => a - b);
  if (!points || !numbers.length || numbers.at(-1) > points.length) return null;
  if (numbers.length > MOST_SUBSETS) return Infinity;
  const all = points.map(() => true);
  const cases = UNIT_LOADS.map((load) => ({ load, intact: load(points, all) })).filter((each) => each.intact !== null);
  let worst = 1;
  for (let chosen = 1; chosen < 2 ** numbers.length; chosen += 1) {
    const gone = new Set(numbers.filter((_, place) => chosen & (2 ** place)).map((number) => number - 1));
    const counted = points.map((_, place) => !gone.has(place));
    for (const { load, intact } of cases) worst = Math.max(worst, riseOf(load(points, counted), intact));
  }
  return Math.round(worst * 1e9) / 1e9; // a sum that comes out at a step of the table is at that step
}

function riseOf(worst, intact) {
  if (worst === null) return Infinity;
  if (intact === 0) return worst === 0 ? 1 : Infinity;
  return worst / intact;
}

// Each gives the worst load of the bolts that count, or null where they cannot carry.
const UNIT_LOADS = [
  (points, counted) => anyDirection(points, counted),
  (points, counted) => pull(outOfPlane(points, counted, 1, 0, 0)),
  (points, counted) => inPlane(points, counted, 1, 0, 0),
  (points, counted) => inPlane(points, counted, 0, 1, 0),
  (points, counted) => inPlane(points, counted, 0, 0, 1),
];

function inPlane(points, counted, fx, fy, moment) {
  const left = points.filter((_, place) => counted[place]);
  if (!left.length) return null;
  const [cx, cy] = middle(left);
  const turn = moment - (cx * fy - cy * fx);
  if (left.length === 1) {
    const scale = Math.abs(moment) + Math.abs(cx * fx) + Math.abs(cy * fy);
    return points.length > 1 || Math.abs(turn) > SINGULAR * scale ? null : Math.hypot(fx, fy);
  }
  const polar = left.reduce((sum, [x, y]) => sum + (x - cx) ** 2 + (y - cy) ** 2, 0);
  return Math.max(...left.map(([x, y]) => Math.hypot(fx / left.length - (turn / polar) * (y - cy), fy / left.length + (turn / polar) * (x - cx))));
}

// Pull on each bolt, 0 on one that does not count; null where those that count lie on a line.
function outOfPlane(points, counted, axial, mx, my) {
  const left = points.filter((_, place) => counted[place]);
  if (!left.length) return null;
  const [cx, cy] = middle(left);
  let xx = 0, xy = 0, yy = 0;
  for (const [x, y] of left) { xx += (x - cx) ** 2; xy += (x - cx) * (y - cy); yy += (y - cy) ** 2; }
  const half = (xx + yy) / 2, away = Math.hypot((xx - yy) / 2, xy);
  if (half - away <= SINGULAR * (half + away)) return null;
  const ty = my - axial * cx, tx = mx - axial * cy, det = xx * yy - xy * xy;
  const a = (ty * yy - tx * xy) / det, b = (tx * xx - ty * xy) / det;
  return points.map(([x, y], place) => (counted[place] ? axial / left.length + a * (x - cx) + b * (y - cy) : 0));
}

function anyDirection(points, counted) {
  const about = [outOfPlane(points, counted, 0, 1, 0), outOfPlane(points, counted, 0, 0, 1)];
  return about[0] && pull(about[0].map((load, place) => Math.hypot(load, about[1][place])));
}

// A pull that is only rounding error of the pushes beside it is none.
function pull(loads) {
  if (!loads) return null;
  const most = Math.max(...loads), scale = Math.max(...loads.map(Math.abs));
  return most > NOTHING * scale ? most : 0;
}

const middle = (points) => [0, 1].map((axis) => points.reduce((sum, point) => sum + point[axis], 0) / points.length);

// How grave the loss is, by the service's own table: `rules` is { order: severities from the mildest, rows: [[measure,
// from, severity]] } for this joint's load path.
export function severityOf(kind, lost, count, risen, rules) {
  const answers = [step(rules, "lost", lost), risen === null ? step(rules, "share", lost / count) : step(rules, "rise", risen)];
  if (kind === "broken") answers.push("repair before use"); // the others have seen the same
  return gravest(answers, rules.order);
}

export const gravest = (severities, order) => severities.reduce((worst, each) => (order.indexOf(each) > order.indexOf(worst) ? each : worst));

function step(rules, measure, value) {
  const rows = rules.rows.filter(([name]) => name === measure);
  const reached = rows.filter(([, from]) => from <= value);
  return (reached.length ? reached : rows.slice(0, 1)).at(-1)[2];
}
