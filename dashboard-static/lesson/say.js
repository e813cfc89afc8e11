// Numbers, marks and times as this page says them. Names and units come from words.js and units.js.

import { units } from "../units.js";
import { metricName, scaleOf, shown, signWords } from "../words.js";

export { metricName };

/** Mark and word of a verdict: shape first, never color alone. */
export const VERDICTS = { in: ["●", "in"], low: ["▼", "low"], high: ["▲", "high"], not_judged: ["◌", "not judged"] };

// Ratios here are mostly parts of one, edges of bands among them: a tenth is too coarse.
function text(number, unit) {
  if (unit !== "ratio") return shown(number, unit, units());
  return { digits: number.toFixed(2).replace(/^-(0\.00)$/, "$1").replace("-", "−"), unit: "" };
}

const gap = (label) => (label === "°" || label === "" ? label : ` ${label}`);

/** A value with its unit and direction: `2.2 cm away`. */
export function value(id, number, unit) {
  if (number === null || number === undefined) return "—";
  const words = signWords(id);
  const { digits, unit: label } = text(number, unit);
  if (!words) return `${digits}${gap(label)}`;
  const word = Number(digits.replace("−", "-")) === 0 ? words.zero : digits.startsWith("−") ? words.minus : words.plus;
  return `${digits.replace("−", "")}${gap(label)} ${word}`;
}

/** A difference of two values, with its sign. */
export function difference(number, unit) {
  const { digits, unit: label } = text(number, unit);
  return `${digits.startsWith("−") || Number(digits) === 0 ? "" : "+"}${digits}${gap(label)}`;
}

/** Digits alone, for ticks. */
export const digits = (number, unit) => text(number, unit).digits;
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

/**
 * Metrics that have a band without anybody setting one, with low, aim and high in the metric's unit: common
 * practice, no source (analysis/src/coaching/band.rs; the daemon does not list them).
 */
export const DEFAULT_BANDS = {
  "pelvis_shift@takeaway_end": [-0.045, -0.03, -0.015], "knee_change.trail@top": [-10, null, -5],
  "knee_ratio.lead@top": [2, null, null], "knee_onset.lead": [null, null, 0.5], "knee_onset.trail": [null, null, 0.5],
  "rotation_range_down.pelvis": [75, null, 85], "rotation_excess.pelvis": [null, null, 0],
};
