// The table of differences: real ones first, each with its interval against zero. A row that is read at an
// event goes to that moment.

import { el, svg } from "../element.js";
import { gap, scaleOf } from "../figures.js";
import { metricName, quantity } from "../quantities.js";
import { inWords } from "../words.js";

const FEW = 12;
const WIDE = 120;

/**
 * The table, or why there is none.
 * @param {object} told the comparison
 * @param {object} how `units`, `all` (show every row), `more` (called to show all), `go` (called with an event),
 *   `notes` (paragraphs above it)
 */
export function differences(told, { units, all, more, go, notes = [] }) {
  const real = told.rows.filter((row) => row.real);
  const rows = all ? told.rows : told.rows.slice(0, Math.max(real.length, FEW));
  return [
    ...notes,
    el(".scroll", { tabindex: "0", role: "region", "aria-label": "Differences" }, el("table.differences", {},
      el("thead", {}, el("tr", {}, ["Metric", "A", "B", "B − A", "95 % interval"].map((words) => el("th", { scope: "col" }, words)))),
      el("tbody", {}, rows.map((row) => line(row, units, go))))),
    rows.length < told.rows.length && el("button.more", { type: "button", onclick: more }, `Show all ${told.rows.length}`),
    el("p.fine", {}, told.words),
  ];
}

/** One sentence: how many are real, and the clearest one. */
export function verdict(told, units) {
  const real = told.rows.filter((row) => row.real);
  if (told.rows.length === 0) return "Nothing was measured in both.";
  if (told.rows.every((row) => row.low === null)) return "What is real is not known: there are no uncertainties of A or B yet.";
  if (real.length === 0) return `None of ${told.rows.length} differences is real: A and B cannot be told apart.`;
  const [first] = real;
  const of = `${real.length} of ${told.rows.length} ${real.length === 1 ? "differences is" : "differences are"} real`;
  return `${of}. The clearest: ${metricName(first.metric)}, ${said(first, units)}.`;
}

// The size with the direction in words where the metric has some: "4.2 cm more toward in B".
function said(row, units) {
  const { words } = quantity(row.metric);
  const size = signed(row, units);
  if (!words) return `${size} in B`;
  const direction = row.difference > 0 ? words.plus : words.minus;
  return `${size.slice(1)} more ${direction.replace(/^more /, "")} in B`;
}

// Differences need a decimal more than values where they are small.
function digitsOf(row, units) {
  const [factor, label, decimals] = scaleOf(unitOf(row), units);
  const small = Math.abs(row.difference * factor) < 10 && decimals === 0;
  return { label, digits: (v) => clean((v * factor).toFixed(decimals + (small ? 1 : 0))) };
}

function signed(row, units) {
  const { digits, label } = digitsOf(row, units);
  const text = digits(row.difference);
  return `${text.startsWith("−") || Number(text) === 0 ? "" : "+"}${text}${gap(label)}`;
}

// "-0.0" is no number that a person would say.
const clean = (text) => (Number(text) === 0 ? text.replace("-", "") : text.replace("-", "−"));
const unitOf = (row) => (quantity(row.metric).share ? "share" : row.unit);

function line(row, units, go) {
  const event = row.metric.split("@")[1];
  const name = metricName(row.metric);
  // A long unit stands once, at the difference.
  const value = (v) => inWords(row.metric, v, row.unit, units).replace(/ (% body weight(\/s)?)$/, "");
  return el("tr", { class: row.real ? "real" : null, "data-metric": row.metric },
    el("th", { scope: "row" }, el(".metric", {}, el("span.flag", { "aria-hidden": "true" }, row.real ? "●" : "○"), el("span.hidden", {}, row.real ? "real: " : "not told apart: "),
      event ? el("button.link", { type: "button", title: "to this moment", onclick: () => go(event) }, name) : el("span", {}, name))),
    el("td", {}, value(row.a)), el("td", {}, value(row.b)),
    el("td.by", {}, signed(row, units)),
    el("td.interval", {}, interval(row, units)));
}

// Zero stands in the middle. An interval may not touch it without being real: all rows are judged together.
function interval(row, units) {
  if (row.low === null || row.high === null) return el("span.dim", {}, "not known");
  const widest = Math.max(Math.abs(row.low), Math.abs(row.high), 1e-12);
  const x = (v) => WIDE / 2 + (v / widest) * (WIDE / 2 - 5);
  const { digits } = digitsOf(row, units);
  const words = `${digits(row.low)} to ${digits(row.high)}`;
  return [svg("svg.whisker", { viewBox: `0 0 ${WIDE} 16`, role: "img", "aria-label": words },
    svg("line.zero", { x1: WIDE / 2, x2: WIDE / 2, y1: 1, y2: 15 }),
    svg("line.reach", { x1: x(row.low), x2: x(row.high), y1: 8, y2: 8 }),
    svg("circle.mean", { cx: x(row.difference), cy: 8, r: 4 })), el("span.dim", {}, words)];
}
