// The table of differences: real ones first, each with its interval against zero. A row that is read at an
// event goes to that moment.

import { difference, gap, scaleOf } from "../figures.js";
import { metricName, quantity } from "../quantities.js";
import { inWords } from "../words.js";
import { el, svg } from "./dom.js";

const FEW = 12;
const WIDE = 120;

/**
 * The table, or why there is none.
 * @param {object} told the comparison
 * @param {object} how `units`, `all` (show every row), `more` (called to show all), `go` (called with an event), `names`
 */
export function differences(told, { units, all, more, go, names = [] }) {
  const real = told.rows.filter((row) => row.real);
  const rows = all ? told.rows : told.rows.slice(0, Math.max(real.length, FEW));
  return [
    ...names,
    el("p.verdict", { role: "status" }, verdict(told, real, units)),
    el(".scroll", { tabindex: "0", role: "region", "aria-label": "Differences" }, el("table.differences", {},
      el("thead", {}, el("tr", {}, ["Metric", "A", "B", "B − A", "95 % interval"].map((words) => el("th", { scope: "col" }, words)))),
      el("tbody", {}, rows.map((row) => line(row, units, go))))),
    rows.length < told.rows.length && el("button.more", { type: "button", onclick: more }, `Show all ${told.rows.length}`),
    el("p.fine", {}, told.words),
  ];
}

/** One sentence: how many are real, and the clearest one. */
export function verdict(told, real, units) {
  if (told.rows.length === 0) return "Nothing was measured in both.";
  if (real.length === 0) return `None of ${told.rows.length} differences is real: A and B cannot be told apart.`;
  const [first] = real;
  const of = `${real.length} of ${told.rows.length} ${real.length === 1 ? "differences is" : "differences are"} real`;
  return `${of}. The clearest: ${metricName(first.metric)}, ${said(first, units)}.`;
}

// The size with the direction in words where the metric has some: "4.2 cm toward".
function said(row, units) {
  const { words, share } = quantity(row.metric);
  if (words) return inWords(row.metric, row.difference, row.unit, units).replace(/(\S+)$/, "$1") + " in B";
  return `${difference(row.difference, share ? "share" : row.unit, units)} in B`;
}

function line(row, units, go) {
  const event = row.metric.split("@")[1];
  const name = metricName(row.metric);
  const unit = quantity(row.metric).share ? "share" : row.unit;
  const value = (v) => inWords(row.metric, v, row.unit, units);
  return el("tr", { class: row.real ? "real" : null, "data-metric": row.metric },
    el("th", { scope: "row" }, el("span.flag", { "aria-hidden": "true" }, row.real ? "●" : "○"), el("span.hidden", {}, row.real ? "real: " : "not told apart: "),
      event ? el("button.link", { type: "button", title: "to this moment", onclick: () => go(event) }, name) : name),
    el("td", {}, value(row.a)), el("td", {}, value(row.b)),
    el("td.by", {}, difference(row.difference, unit, units)),
    el("td.interval", {}, interval(row, unit, units)));
}

// Zero stands in the middle: an interval that does not touch it is real.
function interval(row, unit, units) {
  if (row.low === null || row.high === null) return el("span.dim", {}, "not known");
  const widest = Math.max(Math.abs(row.low), Math.abs(row.high), 1e-12);
  const x = (v) => WIDE / 2 + (v / widest) * (WIDE / 2 - 5);
  const [factor, label, decimals] = scaleOf(unit, units);
  const digits = (v) => (v * factor).toFixed(decimals).replace("-", "−");
  const words = `${digits(row.low)} to ${digits(row.high)}${gap(label)}`;
  return [svg("svg.whisker", { viewBox: `0 0 ${WIDE} 16`, role: "img", "aria-label": words },
    svg("line.zero", { x1: WIDE / 2, x2: WIDE / 2, y1: 1, y2: 15 }),
    svg("line.reach", { x1: x(row.low), x2: x(row.high), y1: 8, y2: 8 }),
    svg("circle.mean", { cx: x(row.difference), cy: 8, r: 4 })), el("span.dim", {}, words)];
}
