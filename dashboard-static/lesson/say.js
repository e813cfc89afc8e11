// Numbers, marks and times as this page says them, from the modules that every screen shares.

import { difference as signed, inUnits, scaleOf, shown } from "../figures.js";
import { metricName, quantity, signWords } from "../quantities.js";
import { units } from "../units.js";
import { inWords } from "../words.js";

export { metricName, signWords };

/** Mark and word of a verdict: shape first, never color alone. */
export const VERDICTS = { in: ["●", "in"], low: ["▼", "low"], high: ["▲", "high"], not_judged: ["◌", "not judged"] };

/** A sentence of the daemon with its numbers in the units on screen. */
export const sentence = (words) => inUnits(words, units());

/** The unit as `figures.js` has it: parts of a whole are read in percent, other ratios with two digits. */
export const unitOf = (id, unit) => (quantity(id).share ? "share" : unit);

/** A value with its unit and direction: `2.2 cm away`. */
export function value(id, number, unit) {
  if (number === null || number === undefined) return "—";
  return unitOf(id, unit) === "ratio" ? digits(number, "ratio") : inWords(id, number, unit, units());
}

/** A difference of two values of a metric, with its sign. */
export function difference(id, number, unit) {
  const of = unitOf(id, unit);
  if (of === "ratio") return `${number > 0 ? "+" : ""}${digits(number, of)}`;
  return signed(number, of, units());
}

/** Digits alone, for ticks and grips. */
export function digits(number, unit) {
  if (unit === "ratio") return number.toFixed(2).replace(/^-(0\.00)$/, "$1").replace("-", "−");
  return shown(number, unit, units()).digits;
}
/** The unit's label. */
export const label = (unit) => (unit === "ratio" ? "ratio" : scaleOf(unit, units())[1]);
/** What one unit of a report is on the screen. */
export const factor = (unit) => scaleOf(unit, units())[0];

// Steps of a dragged edge in the unit on screen: what a coach would say aloud.
const STEPS = { cm: 0.5, in: 0.25, "°": 1, "m/s": 0.5, mph: 1, s: 0.01, ms: 5, ratio: 0.05, "%": 1, "% body weight": 1, mm: 0.5 };
/** The step of a dragged edge, in the metric's own unit. */
export function step(unit, span) {
  const named = STEPS[label(unit)];
  return named ? named / factor(unit) : 10 ** Math.floor(Math.log10(span / 40));
}

/** A clock time of the day. */
export function clock(utcNs) {
  return new Date(utcNs / 1e6).toLocaleTimeString("en-US", { hour: "numeric", minute: "2-digit" });
}

/** A date and time, the date only where it is not today. */
export function when(utcNs) {
  const date = new Date(utcNs / 1e6);
  const day = date.toDateString() === new Date().toDateString() ? "" : `${date.toLocaleDateString("en-US", { month: "short", day: "numeric", year: "numeric" })}, `;
  return day + clock(utcNs);
}

/** `1 shot`, `2 shots`. */
export const count = (n, word) => `${n} ${word}${n === 1 ? "" : "s"}`;
export const capital = (words) => words.charAt(0).toUpperCase() + words.slice(1);
