// Figures: how a value in a report's unit becomes digits with the unit that a person chose (units.js). What
// a metric is called lives in quantities.js.

// Factor from the report's unit, unit on screen, decimals. Exact by definition: 1 mile = 1609.344 m,
// 1 inch = 0.0254 m.
const UNITS = {
  metric: { "m/s": [1, "m/s", 1], m: [100, "cm", 1], deg: [1, "°", 0], s: [1, "s", 2], ms: [1, "ms", 0], ratio: [1, "×", 1], share: [100, "%", 0],
    "deg/s": [1, "°/s", 0], "deg/s^2": [1, "°/s²", 0], mm: [1, "mm", 1], "%": [1, "%", 0], "%BW": [1, "% body weight", 0],
    "%BW/s": [1, "% body weight/s", 0], "N m": [1, "N m", 0], "N s": [1, "N s", 0], J: [1, "J", 0], W: [1, "W", 0], code: [1, "", 0] },
  imperial: { "m/s": [3600 / 1609.344, "mph", 1], m: [1 / 0.0254, "in", 1], mm: [1 / 25.4, "in", 2] },
};
// Numbers with a unit as the daemon's sentences hold them: "+1.8 m/s", "-28 mm", "40.1 deg".
const IN_SENTENCES = /([+\-−]?)(\d+(?:\.\d+)?) (mm|m\/s|deg|ratio|code|%BW)(?![\w/])/g;

/** Digits and unit of a value; the sign is a true minus. */
export function shown(value, unit, units) {
  const [factor, label, decimals] = scaleOf(unit, units);
  const text = (value * factor).toFixed(decimals);
  // "-0.0" is no number that a person would say.
  const digits = Number(text) === 0 ? text.replace("-", "") : text.replace("-", "−");
  return { digits, unit: label };
}

/** A size without direction, as a figure of uncertainty: two figures at the most. */
export function figure(size, unit, units) {
  const [factor, label] = scaleOf(unit, units);
  const here = Math.abs(size * factor);
  // Smaller than anybody reads is said as such.
  if (here < 0.0095) return `under 0.01${gap(label)}`;
  return `${here.toFixed(here >= 9.95 ? 0 : here >= 0.095 ? 1 : 2)}${gap(label)}`;
}

/** A difference with its sign and unit. */
export function difference(value, unit, units) {
  const { digits, unit: label } = shown(value, unit, units);
  const sign = digits.startsWith("−") || Number(digits) === 0 ? "" : "+";
  return `${sign}${digits}${gap(label)}`;
}

/** The unit as it follows digits: a degree sign without a space. */
export const gap = (label) => (label === "°" || label === "×" || label === "" ? label : ` ${label}`);

/** A sentence of the daemon with its numbers in the chosen units. */
export function inUnits(sentence, units) {
  return sentence.replaceAll(IN_SENTENCES, (all, sign, number, unit) => {
    // As in `shown`: zero has no sign.
    const signed = Number(number) === 0 ? "" : sign.replace("-", "−");
    if (unit === "code" || unit === "ratio") return `${signed}${number}`;
    const inside = unit === "mm" ? Number(number) / 1000 : Number(number);
    const { digits, unit: label } = shown(inside, unit === "mm" ? "m" : unit, units);
    // Where the unit stays, so do the decimals that the sentence gave.
    return `${signed}${unit === "deg" || unit === "%BW" ? number : digits}${gap(label)}`;
  });
}

/** Factor, label and decimals by which a unit of the reports is shown. */
export const scaleOf = (unit, units) => UNITS[units][unit] ?? UNITS.metric[unit] ?? [1, unit, 1];
