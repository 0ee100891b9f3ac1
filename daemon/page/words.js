// Numbers as people read them.  Times come in milliseconds since 1970 UTC, values in
// thousandths; the viewer's own zone decides how a time is written.

const MINUTE = 60_000;
const HOUR = 60 * MINUTE;
const DAYS = ["Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"];
const two = (number) => String(number).padStart(2, "0");

/** The offset of the viewer's zone at a time: UTC+02:00. */
export function offset(ms) {
  const minutes = -new Date(ms).getTimezoneOffset();
  const size = Math.abs(minutes);
  return `UTC${minutes < 0 ? "−" : "+"}${two(Math.floor(size / 60))}:${two(size % 60)}`;
}

/** A time of day; with the day where it is not today, the offset where it changed. */
export function clock(ms, now) {
  const at = new Date(ms);
  const today = new Date(now);
  const time = `${two(at.getHours())}:${two(at.getMinutes())}`;
  const words = [time];
  if (at.toDateString() !== today.toDateString()) words.unshift(day(at, ms, now));
  if (offset(ms) !== offset(now)) words.push(offset(ms));
  return words.join(" ");
}

function day(at, ms, now) {
  if (Math.abs(ms - now) < 6 * 24 * HOUR) return DAYS[at.getDay()];
  return `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())}`;
}

/** A date and a time of day for what is long past, with its offset where it is not today's. */
export function dated(ms, now = Date.now()) {
  const at = new Date(ms);
  const words = `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())} ${two(at.getHours())}:${two(at.getMinutes())}`;
  return offset(ms) === offset(now) ? words : `${words} ${offset(ms)}`;
}

/** A date and a time to the second, with its offset. */
export function fullClock(ms) {
  const at = new Date(ms);
  const time = [at.getHours(), at.getMinutes(), at.getSeconds()].map(two).join(":");
  return `${DAYS[at.getDay()]} ${time} ${offset(ms)}`;
}

/** A length of time by its two largest parts; `up` rounds to the longer side. */
export function duration(ms, up = false) {
  const round = up ? Math.ceil : Math.floor;
  const seconds = round(Math.abs(ms) / 1000);
  if (seconds < 60) return `${seconds} s`;
  if (seconds < 3600) {
    const rest = seconds % 60;
    return rest ? `${Math.floor(seconds / 60)} min ${rest} s` : `${seconds / 60} min`;
  }
  const minutes = round(seconds / 60);
  const rest = minutes % 60;
  return rest ? `${Math.floor(minutes / 60)} h ${rest} min` : `${minutes / 60} h`;
}

/** A length of time by its largest part, for what changes every second. */
export function about(ms) {
  const seconds = Math.max(0, Math.floor(ms / 1000));
  if (seconds < 60) return `${seconds} s`;
  if (seconds < 3600) return `${Math.floor(seconds / 60)} min`;
  const minutes = Math.floor(seconds / 60);
  const rest = minutes % 60;
  return rest ? `${Math.floor(minutes / 60)} h ${rest} min` : `${minutes / 60} h`;
}

/** Thousandths to a tenth, `up` to the higher side, else the lower, else the nearest. */
export function tenths(thousandths, side = "") {
  const round = { up: Math.ceil, down: Math.floor }[side] ?? Math.round;
  const text = (round(thousandths / 100) / 10).toFixed(1);
  return (text === "-0.0" ? "0.0" : text).replace("-", "−");
}

/** Sentences of the daemon as a page sets them: °C or °F, and no number without its unit. */
export function glued(text) {
  return text
    .replace(/ deg([CF])\b/g, " °$1")
    .replace(/(\d) (h|min|s|K|% RH|log10)\b/g, "$1\u00a0$2")
    .replace(/(\d) (°[CF])/g, "$1\u00a0$2");
}

export const UNITS = { degC: "°C", "%RH": "% RH" };

/** A value of a channel with its unit. */
export function value(thousandths, unit) {
  return `${tenths(thousandths)} ${UNITS[unit] ?? unit}`;
}

/** A difference between two values of a channel. */
export function difference(thousandths, unit) {
  return `${tenths(thousandths)} ${unit === "degC" ? "K" : "%"}`;
}

/** A figure of a limit in its unit, rounded to the side that does not flatter. */
export function figure(number, unit, side) {
  if (unit === "ms") return duration(number, side === "up");
  if (unit === "mlog10") return `${tenths(number, side)} log10`;
  return `${tenths(number, side)} °C`;
}

/** Where a core is asked to be, and when it will be: the house's own sentence. */
export function going(one, now) {
  if (!one.deadline_ms) return `${one.channel} has to ${asked(one)}; at this rate ${rate(one, now)}`;
  const left = one.deadline_ms > now ? `, in ${about(one.deadline_ms - now)}` : "";
  const by = `by ${clock(one.deadline_ms, now)}${left}`;
  return `${one.channel} must ${asked(one)} ${by}; at this rate ${rate(one, now)}`;
}

/** What a core has to be, or the heat that it has to have. */
function asked(one) {
  if (one.asks) return `have ${one.asks}`;
  const hold = one.hold_ms ? ` for ${duration(one.hold_ms)}` : "";
  return `be ${one.rises ? "past" : "down to"} ${glued(one.mark)}${hold}`;
}

/** When a core is there: the likely time, and between which two it lies. */
export function rate(one, now) {
  const [earliest, likely, latest] = [one.earliest_ms, one.likely_ms, one.latest_ms].map((ms) => ms && clock(ms, now));
  if (!likely) return earliest ? `never (${earliest} at the earliest)` : "never";
  if (!latest) return `${likely} (${earliest} at the earliest)`;
  return earliest === latest ? likely : `${likely} (${earliest} to ${latest})`;
}

/** Whether a core is likely to be there too late, or never. */
export const late = (one) => Boolean(one?.deadline_ms) && (!one.likely_ms || one.likely_ms > one.deadline_ms);
