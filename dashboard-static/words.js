// How a report is said in words and digits: which metrics are shown, and how a value becomes digits,
// unit and direction. Names live in quantities.js, units in figures.js. No drawing here.

import { figure, gap, shown } from "./figures.js";
import { direction, metricName, quantity } from "./quantities.js";

export { scaleOf, shown } from "./figures.js";
export { eventName, metricName, signWords } from "./quantities.js";

/** The number shown very large. */
export const HEADLINE = "head_speed@impact";
/** The three numbers under it, in order. Any identifier of the catalogue may stand here. */
export const FOCUS = ["pelvis_rotation@top", "pelvis_shift@takeaway_end", "tempo_ratio"];

/** Bay states as the screen says them. */
export const STATES = {
  no_signal: "no signal", waiting: "waiting", at_address: "at address",
  in_motion: "in motion", measuring: "measuring", result: "result",
};

/** Events that stand on the time ruler. */
export const RULER_EVENTS = ["takeaway_end", "top", "shaft_level_down", "impact"];

/** What a swing was. */
export const KINDS = { shot: "shot", rehearsal: "rehearsal", swing: "swing", partial: "partial swing" };

/** Which side of a golfer leads and which trails. */
export function sideWords(handed) {
  const lead = { right: "left", left: "right" }[handed];
  return lead ? { lead: `lead side (${lead})`, trail: `trail side (${handed})` } : { lead: "lead side", trail: "trail side" };
}

/**
 * One metric of a report as a person reads it.
 * @param {string} id identifier of the catalogue
 * @param {object|null} report a swing's report; without one nothing is measured
 * @param {"metric"|"imperial"} units
 * @returns {{name, digits, unit, word, detail, spread, limited, measured}}
 */
export function reading(id, report, units) {
  const metric = report?.measurement.metrics[id];
  const name = metricName(id);
  if (metric?.value == null) {
    const reason = metric?.reason ?? "this bay does not measure it";
    return { name, digits: "—", unit: "", word: "", detail: `not measured: ${reason}`, spread: "", limited: "", measured: false };
  }
  // The change since address is what a golfer did; the absolute value also holds the stance.
  const natural = quantity(id).since && metric.change != null ? metric.change : metric.value;
  return { name, ...said(id, natural, metric.unit, units), ...details(id, metric, report, units), limited: metric.limited ?? "", measured: true };
}

/** Digits, unit and direction of a metric's value: where a direction has a word, it stands for the sign. */
export function said(id, value, unit, units) {
  const { words, codes, share } = quantity(id);
  const plain = shown(value, share ? "share" : unit, units);
  if (codes) return { ...plain, word: codes[value] ?? "" };
  if (!words) return { ...plain, word: "" };
  return { digits: plain.digits.replace("−", ""), unit: plain.unit, word: direction(words, plain.digits) };
}

/** The same in one piece: `2.0 cm away`. */
export function inWords(id, value, unit, units) {
  const { digits, unit: label, word } = said(id, value, unit, units);
  return `${digits}${gap(label)} ${word}`.trim();
}

/** Shift and rotation of the pelvis while somebody moves: for feedback in slow rehearsals. */
export function liveWords(live, units) {
  const parts = [["pelvis_shift", live?.shift, "m"], ["pelvis_rotation", live?.rotation, "deg"]]
    .filter(([, value]) => value != null)
    .map(([id, value, unit]) => inWords(id, value, unit, units));
  return parts.length ? `pelvis ${parts.join(" · ")}` : "";
}

/** Why a swing's uncertainties are missing for good; empty where they are known or still come. */
export function unrefinedWords(report) {
  return report.unrefined ? `± not refined: ${report.unrefined}` : "";
}

/** What became of the swing on show in the archive; empty while that is open. */
export function archivedWords(said) {
  if (!said) return "";
  return said.archived ? "● swing archived" : `△ swing not archived: ${said.reason}`;
}

/** The standard uncertainty of a value as a small figure; empty while it may still come. */
export function spread(metric, report, units) {
  if (report.unrefined) return "± not refined";
  const standard = metric.uncertainty?.standard;
  if (standard == null) return report.revision > 2 ? "± not known" : "";
  return `± ${figure(standard, metric.unit, units)}`;
}

// The uncertainty belongs to the value; where the change since address is said large, it stands with
// the value in the detail.
function details(id, metric, report, units) {
  const plusMinus = spread(metric, report, units);
  const beside = metric.change != null && quantity(id).frame && metric.uncertainty?.standard != null;
  const text = detail(id, metric, report.measurement.metrics, units, beside ? ` ${plusMinus}` : "");
  return { detail: text, spread: beside ? "" : plusMinus };
}

function detail(id, metric, metrics, units, plusMinus) {
  const { since, frame, words } = quantity(id);
  if (id === "tempo_ratio") return tempoDetail(metrics, units);
  if (!since || metric.change == null) return frame ?? "";
  if (!frame) return "since address";
  const absolute = shown(metric.value, metric.unit, units);
  const word = direction(words, absolute.digits);
  return `since address\n${absolute.digits.replace("−", "")}${absolute.unit}${plusMinus} ${word} ${frame}`;
}

function tempoDetail(metrics, units) {
  const parts = [["backswing", metrics.backswing_time], ["downswing", metrics.downswing_time]]
    .filter(([, m]) => m?.value != null)
    .map(([word, m]) => `${word} ${shown(m.value, m.unit, units).digits} s`);
  return parts.join("\n");
}
