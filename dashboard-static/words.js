// Everything that is said in words or units: which metrics are shown, what they are called, how a
// value becomes digits, unit and direction. No drawing here.

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

const EVENTS = {
  address: "address", takeaway_start: "takeaway start", takeaway_end: "takeaway end",
  lead_arm_level_back: "lead arm level, going back", top: "top",
  lead_arm_level_down: "lead arm level, coming down", shaft_level_down: "shaft level down",
  impact: "impact", shaft_level_through: "shaft level through", finish: "finish",
};

const away = { plus: "toward", minus: "away", zero: "level" };
const open = { plus: "open", minus: "closed", zero: "square" };
const rotation = (name) => ({ name, kind: "angle", words: open, since: true, frame: "to target line" });
const QUANTITIES = {
  head_speed: { name: "Club head speed", kind: "speed" },
  head_speed_peak: { name: "Peak club head speed", kind: "speed" },
  grip_speed: { name: "Grip speed", kind: "speed" },
  grip_speed_peak: { name: "Peak grip speed", kind: "speed" },
  pelvis_rotation: rotation("Pelvis rotation"),
  thorax_rotation: rotation("Thorax rotation"),
  shoulder_line_rotation: rotation("Shoulder line rotation"),
  separation: { name: "Separation", kind: "angle" },
  pelvis_shift: { name: "Pelvis shift", kind: "distance", words: away, since: true },
  head_shift: { name: "Head shift", kind: "distance", words: away, since: true },
  pelvis_rise: { name: "Pelvis rise", kind: "distance", words: { plus: "up", minus: "down", zero: "level" }, since: true },
  pelvis_depth: { name: "Pelvis depth", kind: "distance", words: { plus: "toward the ball", minus: "back", zero: "level" }, since: true },
  "knee_flexion.lead": { name: "Lead knee flexion", kind: "angle" },
  "knee_flexion.trail": { name: "Trail knee flexion", kind: "angle" },
  shaft_lean: { name: "Shaft lean", kind: "angle" },
  tempo_ratio: { name: "Tempo", kind: "ratio" },
  backswing_time: { name: "Backswing time", kind: "time" },
  downswing_time: { name: "Downswing time", kind: "time" },
};

// Factor from the report's unit, unit on screen, decimals. Exact by definition: 1 mile = 1609.344 m,
// 1 inch = 0.0254 m.
const UNITS = {
  metric: { "m/s": [1, "m/s", 1], m: [100, "cm", 1], deg: [1, "°", 0], s: [1, "s", 2], ms: [1, "ms", 0], ratio: [1, "×", 1], "deg/s": [1, "°/s", 0],
    "deg/s^2": [1, "°/s²", 0], mm: [1, "mm", 1], "%": [1, "%", 0], "%BW": [1, "% body weight", 0], "%BW/s": [1, "% body weight/s", 0],
    "N m": [1, "N m", 0], "N s": [1, "N s", 0], J: [1, "J", 0], W: [1, "W", 0] },
  imperial: { "m/s": [3600 / 1609.344, "mph", 1], m: [1 / 0.0254, "in", 1] },
};

/** The units asked for by `?units=imperial|metric`, else those of last time, else metric. */
export function chosenUnits(search, storage) {
  const asked = new URLSearchParams(search).get("units");
  if (asked in UNITS) storage.setItem("units", asked);
  const stored = storage.getItem("units");
  return stored in UNITS ? stored : "metric";
}

/** Name of an event in plain words. */
export function eventName(event) {
  return EVENTS[event] ?? event.replaceAll("_", " ");
}

/** Name of a metric in plain words: `Knee onset, lead`, `Pelvis shift at takeaway end`. */
export function metricName(id) {
  const [base, event] = id.split("@");
  const [what, part] = base.split(".");
  const plain = () => plainName(what) + (part ? `, ${part.replaceAll("_", " ")}` : "");
  return (QUANTITIES[base]?.name ?? plain()) + (event ? ` ${at(event)}` : "");
}

/** What plus, minus and zero of a metric mean; `null` where the sign stays a sign. */
export function signWords(id) {
  return QUANTITIES[id.split("@")[0]]?.words ?? null;
}

/** Factor, label and decimals by which a unit of the reports is shown. */
export function scaleOf(unit, units) {
  return UNITS[units][unit] ?? UNITS.metric[unit] ?? [1, unit, 1];
}

/**
 * One metric of a report as a person reads it.
 * @param {string} id identifier of the catalogue
 * @param {object|null} report a swing's report; without one nothing is measured
 * @param {"metric"|"imperial"} units
 * @returns {{name, digits, unit, word, detail, spread, limited, measured}}
 */
export function reading(id, report, units) {
  const metrics = report?.measurement.metrics ?? {};
  const [base, event] = id.split("@");
  const quantity = QUANTITIES[base] ?? { name: plainName(base), kind: "plain" };
  const name = quantity.name + (event ? ` ${at(event)}` : "");
  const metric = metrics[id];
  if (metric?.value == null) {
    const reason = metric?.reason ?? "this bay does not measure it";
    return { name, digits: "—", unit: "", word: "", detail: `not measured: ${reason}`, spread: "", limited: "", measured: false };
  }
  return { name, ...valueWords(quantity, metric, units), ...details(id, metric, report, units), limited: metric.limited ?? "", measured: true };
}

/** Shift and rotation of the pelvis while somebody moves: for feedback in slow rehearsals. */
export function liveWords(live, units) {
  const parts = [["pelvis_shift", live?.shift, "m"], ["pelvis_rotation", live?.rotation, "deg"]]
    .filter(([, value]) => value != null)
    .map(([id, value, unit]) => {
      const { digits, unit: label } = shown(value, unit, units);
      return `${digits.replace("−", "")}${gap(label)} ${direction(QUANTITIES[id].words, digits)}`;
    });
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
  const [factor, label] = UNITS[units][metric.unit] ?? UNITS.metric[metric.unit] ?? [1, metric.unit];
  const size = Math.abs(standard * factor);
  // Two figures at the most; smaller than anybody reads is said as such.
  if (size < 0.0095) return `± under 0.01${gap(label)}`;
  return `± ${size.toFixed(size >= 9.95 ? 0 : size >= 0.095 ? 1 : 2)}${gap(label)}`;
}

const gap = (label) => (label === "°" || label === "×" ? label : ` ${label}`);

/** Digits and unit of a value; the sign is a true minus. */
export function shown(value, unit, units) {
  const [factor, label, decimals] = UNITS[units][unit] ?? UNITS.metric[unit] ?? [1, unit, 1];
  const text = (value * factor).toFixed(decimals);
  // "-0.0" is no number that a person would say.
  const digits = Number(text) === 0 ? text.replace("-", "") : text.replace("-", "−");
  return { digits, unit: label };
}

function valueWords(quantity, metric, units) {
  // The change since address is what a golfer did; the absolute value also holds the stance.
  const natural = quantity.since && metric.change != null ? metric.change : metric.value;
  const plain = shown(natural, metric.unit, units);
  if (!quantity.words) return { ...plain, word: "" };
  const size = plain.digits.replace("−", "");
  return { digits: size, unit: plain.unit, word: direction(quantity.words, plain.digits) };
}

function direction(words, digits) {
  if (Number(digits.replace("−", "-")) === 0) return words.zero;
  return digits.startsWith("−") ? words.minus : words.plus;
}

// The uncertainty belongs to the value; where the change since address is said large, it stands with
// the value in the detail.
function details(id, metric, report, units) {
  const figure = spread(metric, report, units);
  const beside = metric.change != null && QUANTITIES[id.split("@")[0]]?.frame && metric.uncertainty?.standard != null;
  const text = detail(id, metric, report.measurement.metrics, units, beside ? ` ${figure}` : "");
  return { detail: text, spread: beside ? "" : figure };
}

function detail(id, metric, metrics, units, figure) {
  const quantity = QUANTITIES[id.split("@")[0]];
  if (id === "tempo_ratio") return tempoDetail(metrics, units);
  if (!quantity?.since || metric.change == null) return quantity?.frame ?? "";
  if (!quantity.frame) return "since address";
  const absolute = shown(metric.value, metric.unit, units);
  const word = direction(quantity.words, absolute.digits);
  return `since address\n${absolute.digits.replace("−", "")}${absolute.unit}${figure} ${word} ${quantity.frame}`;
}

function tempoDetail(metrics, units) {
  const parts = [["backswing", metrics.backswing_time], ["downswing", metrics.downswing_time]]
    .filter(([, m]) => m?.value != null)
    .map(([word, m]) => `${word} ${shown(m.value, m.unit, units).digits} s`);
  return parts.join("\n");
}

function at(event) {
  const article = event === "top" ? "the " : "";
  return `at ${article}${eventName(event)}`;
}

function plainName(base) {
  const words = base.replaceAll(/[_.]/g, " ");
  return words[0].toUpperCase() + words.slice(1);
}
