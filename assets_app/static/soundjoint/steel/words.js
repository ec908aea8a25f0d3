// Dates, counts and sizes of files, as they are read out.
const DAY = new Intl.DateTimeFormat("en-GB", { day: "numeric", month: "short", year: "numeric" });
const MOMENT = new Intl.DateTimeFormat("en-GB", { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });

export const day = (iso) => (iso ? DAY.format(new Date(iso.length > 10 ? iso : `${iso}T12:00`)) : "");
export const moment = (iso) => MOMENT.format(new Date(iso));
export const many = (count, one, more = `${one}s`) => `${count} ${count === 1 ? one : more}`;
export const megabytes = (bytes) => (bytes < 1e6 ? `${Math.max(1, Math.round(bytes / 1e3))} kB` : `${(bytes / 1e6).toFixed(1)} MB`);

export function due(dueOn, today) {
  if (!dueOn) return { state: "free", words: "no day set" };
  const days = Math.round((Date.parse(dueOn) - Date.parse(today)) / 86_400_000);
  if (days < 0) return { state: "overdue", words: `overdue by ${many(-days, "day")}` };
  return { state: days <= 30 ? "soon" : "later", words: days === 0 ? "due today" : `due in ${many(days, "day")}` };
}

// A clock that is wrong by so many ms; ahead is more than 0.
export function wrongBy(ms) {
  const minutes = Math.round(Math.abs(ms) / 60_000);
  const said = minutes < 120 ? many(minutes, "minute") : minutes < 2880 ? many(Math.round(minutes / 60), "hour") : many(Math.round(minutes / 1440), "day");
  return `${said} ${ms > 0 ? "ahead of" : "behind"} the service's`;
}
