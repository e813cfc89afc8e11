// The numbers that decide what counts as a leak, for this student: with unit, default and source, set by the
// coach and taken back.

import { enterOfStudent } from "./acts.js";
import { gap } from "../figures.js";
import { typed } from "../number.js";
import { get } from "./api.js";
import { button, el } from "./dom.js";
import { field } from "./form.js";
import { newestFirst } from "./ledger.js";
import { changed, model, student, ui } from "./model.js";
import { capital, digits, factor, label } from "./say.js";

/** Thresholds of one leak, or of all (`every`); nothing until they are known. */
export function thresholdsOf(leak) {
  fetchThresholds();
  const lines = model.thresholds.lines.filter((t) => t.leak === leak);
  if (lines.length === 0) return null;
  return el(".thresholds", {}, el("h3", {}, leak === "every" ? "For every leak" : "What counts, for this student"), lines.map(line));
}

function line(t) {
  const key = `threshold.${t.leak}.${t.name}`;
  const said = (v) => (v === null || v === undefined ? "off" : `${number(v, t.unit)}${t.unit === "ratio" ? "" : gap(label(t.unit))}`);
  const set = async (event) => {
    event.preventDefault();
    const value = typed(model.ui.drafts[key] ?? "");
    if (value === null || Number.isNaN(value)) return ui({ error: "a threshold is a number" });
    const exact = Number((value / factor(t.unit)).toPrecision(9));
    if (await enterOfStudent("threshold", { leak: t.leak, name: t.name, value: exact })) model.ui.drafts[key] = "";
    return ui({});
  };
  const own = (t.value ?? null) !== (t.default ?? null);
  return el("form.threshold", { onsubmit: set, "data-threshold": t.name },
    el("p", {}, `${capital(t.words)}: `, el("b", {}, said(t.value)), el("span.dim", {}, ` · ${own ? `set by the coach, the default is ${said(t.default)}` : t.value === null ? t.source : `the default: ${t.source}`}`)),
    el(".row", {},
      field(key, t.unit === "ratio" ? "A number" : `In ${label(t.unit)}`, { inputmode: "decimal", autocomplete: "off" }),
      el("button", { type: "submit", "data-k": `${key}:set` }, "Set"),
      own && button(`${key}:default`, t.default === null || t.default === undefined ? "Off again" : `Back to ${said(t.default)}`, () => enterOfStudent("threshold", { leak: t.leak, name: t.name, value: null }))));
}

// A threshold keeps the digits that were entered.
const number = (v, unit) => (factor(unit) === 1 ? String(Number(v.toPrecision(4))).replace("-", "−") : digits(v, unit));

// Asked again whenever one was set or taken back.
async function fetchThresholds() {
  const newest = newestFirst().find((e) => e.key.startsWith("threshold:"))?.n ?? 0;
  const of = `${student().id} ${newest}`;
  if (model.thresholds.of === of) return;
  model.thresholds = { ...model.thresholds, of };
  const told = await get(`students/${student().id}/thresholds`).catch(() => null);
  if (!told || model.thresholds.of !== of) return;
  model.thresholds = { of, lines: told.thresholds };
  changed();
}
