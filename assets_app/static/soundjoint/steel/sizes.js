// A rough check of a size as people say it: 10, 10mm, 1.2 cm, 1 1/2 in, 3/8". The server reads it for good.
const UNITS = { mm: 1, cm: 10, m: 1000, in: 25.4, inch: 25.4, inches: 25.4, '"': 25.4, "″": 25.4 };
const SAID = /^(?:(\d+)[\s-]+)?(\d+)\s*\/\s*(\d+)\s*(\D*)$|^(\d+(?:[.,]\d+)?)\s*(\D*)$/;
const NO_SIZE = "That reads as no size. Say it as 10mm or 3/8 in.";
const WHICH_UNIT = "Is that inches or mm? Write the unit: 3/8 in.";
const WHICH_NUMBER = "A comma and three digits are read in two ways. Write 1000 or 1.000.";

// { mm, wrong }: millimetres (null where nothing is typed), or what is wrong. A number without a unit is in the unit of
// the site; a fraction without one is asked about where the site speaks in mm, since it was hardly meant so: the service refuses
// it as well.
export function readSize(typed, unit) {
  const text = typed.trim().toLowerCase();
  if (!text) return { mm: null, wrong: "" };
  const found = SAID.exec(text);
  if (!found) return { mm: null, wrong: NO_SIZE };
  const [, whole, top, bottom, after, plain, afterPlain] = found;
  const fraction = bottom !== undefined;
  if (!fraction && /^0*[1-9]\d*,\d{3}$/.test(plain)) return { mm: null, wrong: WHICH_NUMBER };
  const said = (fraction ? after : afterPlain).trim();
  if (fraction && !said && unit === "mm") return { mm: null, wrong: WHICH_UNIT };
  const value = fraction ? Number(whole || 0) + Number(top) / Number(bottom) : Number(plain.replace(",", "."));
  const mm = value * UNITS[said || unit];
  return Number.isFinite(mm) ? { mm, wrong: "" } : { mm: null, wrong: NO_SIZE };
}

export function echo(typed, unit) {
  const { mm, wrong } = readSize(typed, unit);
  return wrong || (mm === null ? "" : `${Math.round(mm * 10) / 10} mm`);
}
