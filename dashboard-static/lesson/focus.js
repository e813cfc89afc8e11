// The focus: up to three metrics with their bands on rulers, and the search for another one.

import { enter } from "./acts.js";
import { bandRuler, domainOf } from "./bandruler.js";
import { button, choice, el } from "./dom.js";
import { field } from "./form.js";
import { club, model, session, ui } from "./model.js";
import { label, metricName, sentence, step, unitOf, value, when } from "./say.js";

const MOST = 3;
const FOUND = 24;
const SUGGESTED = 9;

export function focusPanel() {
  if (!session()) return null;
  if (!club()) return el(".card", {}, el("h2", {}, "Focus"), el("p.hint", {}, "Choose a club first: focus and bands belong to one."), button("focus:club", "Choose a club", () => ui({ tab: "student" }), { kind: "strong" }));
  const { block, focus } = model.lesson;
  return [
    !block && el("p.hint", {}, "Begin a block to see the focus with its shots."),
    focus.map((f, i) => card(f, i)),
    block && focus.length === 0 && el("p.hint", {}, "No focus yet: choose one to three things to work on."),
    block && focus.length < MOST && chooser(),
  ];
}

const setFocus = (metrics) => enter({ club: club().id }, "focus", metrics);
const setBand = (metric, band) => enter({ club: club().id }, "band", { metric, low: null, aim: null, high: null, ...band });

function shotsOf(index) {
  const { shots } = model.lesson;
  const counts = shots.filter((s) => !s.excluded && (s.kind === "shot" || s.kind === "swing"));
  return counts.map((s) => ({ value: s.marks[index]?.value ?? null, verdict: s.marks[index]?.verdict, number: model.numbers.get(s.swing)?.number }));
}

function card(focus, index) {
  const shots = shotsOf(index);
  const values = shots.map((s) => s.value).filter((v) => v !== null);
  const past = model.past.values.get(focus.metric) ?? [];
  const domain = domainOf([...values, ...past], focus.band, focus.unit, model.ui.domains[focus.metric]);
  model.ui.domains[focus.metric] = domain;
  const ruler = bandRuler({ metric: focus.metric, unit: focus.unit, shots, past, band: focus.band, domain, editable: !focus.spared }, (band) => setBand(focus.metric, band));
  return el("article.card.focus", { "data-metric": focus.metric },
    el("header", {}, el("h2", {}, metricName(focus.metric)), newest(focus), button(`focus:out:${focus.metric}`, "✕", () => setFocus(model.lesson.focus.map((f) => f.metric).filter((m) => m !== focus.metric)), { "aria-label": `take ${metricName(focus.metric)} out of focus`, kind: "quiet" })),
    ruler,
    focus.spared ? el("p.loud", {}, `△ No band and no judgement: ${focus.spared}`) : [source(focus.band), focus.band?.warning && el("p.loud", {}, `△ ${sentence(focus.band.warning)}`), tools(focus, values.length >= 4 ? values : [...values, ...past], domain)]);
}

function newest(focus) {
  const mark = focus.marks[0];
  return el("p.newest", {}, mark?.value == null ? "" : `last ${value(focus.metric, mark.value, focus.unit)}`);
}

function source(band) {
  if (!band) return null;
  const who = band.from === "default" ? `Default: ${band.source}` : `Set by ${band.who ?? "the coach"}, ${band.since_utc_ns ? when(band.since_utc_ns) : ""}${band.from === "cohort" ? ` · from ${band.source}` : ""}`;
  return el("p.source.dim", {}, who);
}

function tools(focus, values, domain) {
  const { band, metric, unit } = focus;
  const size = step(unitOf(metric, unit), domain[1] - domain[0]);
  const proposed = proposal(values, domain, size);
  if (!band) {
    return el(".row", {}, button(`band:new:${metric}`, values.length >= 4 ? "Band around these shots" : "Set a band", () => setBand(metric, proposed), { kind: "strong" }), defaultButton(metric));
  }
  const sides = band.low === null ? "high" : band.high === null ? "low" : "both";
  const choose = (wanted) => wanted && setBand(metric, sided(band, wanted, proposed, size));
  const middle = snap(band.low !== null && band.high !== null ? (band.low + band.high) / 2 : (band.low ?? band.high), size);
  return el(".row", {},
    choice(`sides:${metric}`, "Edges", [["both", "two edges"], ["low", "low only"], ["high", "high only"]], sides, choose),
    button(`aim:${metric}`, "aim", () => setBand(metric, { ...edges(band), aim: band.aim === null ? middle : null }), { "aria-pressed": String(band.aim !== null) }),
    band.from !== "default" && defaultButton(metric),
    button(`band:none:${metric}`, "No band", () => setBand(metric, {})));
}

const edges = ({ low, aim, high }) => ({ low, aim, high });
const snap = (v, size) => Number((Math.round(v / size) * size).toPrecision(9));

function sided(band, wanted, proposed, size) {
  const { low, aim, high } = band;
  if (wanted === "low") return { low: low ?? proposed.low, aim: aim !== null && aim >= (low ?? proposed.low) ? aim : null, high: null };
  if (wanted === "high") return { low: null, aim: aim !== null && aim <= (high ?? proposed.high) ? aim : null, high: high ?? proposed.high };
  const width = Math.max(proposed.high - proposed.low, 2 * size);
  const [from, to] = [low ?? snap(high - width, size), high ?? snap(low + width, size)];
  return { low: from, aim: aim !== null && aim >= from && aim <= to ? aim : null, high: to };
}

/** A band to begin with: the middle half of the shots, widened to what can be grasped. */
function proposal(values, domain, size) {
  const sorted = values.toSorted((a, b) => a - b);
  const at = (share) => sorted[Math.round(share * (sorted.length - 1))];
  const [low, high] = sorted.length >= 4 ? [at(0.25), at(0.75)] : [domain[0] + (domain[1] - domain[0]) * 0.4, domain[0] + (domain[1] - domain[0]) * 0.6];
  const middle = (low + high) / 2;
  const half = Math.max((high - low) / 2, 2 * size, (domain[1] - domain[0]) * 0.08);
  return { low: snap(middle - half, size), aim: null, high: snap(middle + half, size) };
}

function defaultButton(metric) {
  if (!model.catalogue.get(metric)?.has_default_band) return null;
  return button(`band:default:${metric}`, "Back to the default", () => setBand(metric, { default: true }));
}

function chooser() {
  const wanted = (model.ui.drafts.metric ?? "").trim().toLowerCase();
  const taken = new Set(model.lesson.focus.map((f) => f.metric));
  const known = [...model.catalogue.values()].filter((m) => !taken.has(m.id) && m.unit !== "code").map((m) => m.id);
  const found = wanted ? known.filter((id) => matches(id, wanted)).slice(0, FOUND) : suggestions(taken);
  const all = model.lesson.focus.map((f) => f.metric);
  const add = async (id) => {
    if (!(await setFocus([...all, id]))) return;
    model.ui.drafts.metric = "";
    ui({});
  };
  return el(".card.chooser", {},
    el("h2", {}, all.length ? "Another focus" : "What to work on"),
    field("metric", "Search the catalogue", { type: "search", "data-live": true, autocomplete: "off", oninput: (e) => { model.ui.drafts.metric = e.target.value; ui({}); } }),
    model.catalogue.size === 0 && el("p.dim", {}, "Asking for the catalogue."),
    wanted && found.length === 0 && el("p.dim", {}, "Nothing of that name is measured here."),
    el(".found", {}, found.map((id) => button(`add:${id}`, [el("span", {}, metricName(id)), el("span.sub", {}, why(id))], () => add(id)))));
}

// Every word must be somewhere in the name.
function matches(id, wanted) {
  const { words } = model.catalogue.get(id);
  return wanted.split(/\s+/).every((w) => `${metricName(id)} ${words}`.toLowerCase().includes(w));
}

const leakOf = (id) => model.lesson.leaks.find((l) => l.status === "present" && (l.evidence.some((e) => e.metric === id) || l.slope?.metric === id));

function why(id) {
  const leak = leakOf(id);
  const { unit, has_default_band: banded, definition } = model.catalogue.get(id) ?? {};
  if (leak) return `shows the leak: ${leak.name}`;
  if (banded) return "has a default band";
  return [unit && label(unitOf(id, unit)), definition].filter(Boolean).join(" · ");
}

// Leaks first, then what has a band of its own.
function suggestions(taken) {
  const leaking = model.lesson.leaks.filter((l) => l.status === "present").flatMap((l) => l.evidence.map((e) => e.metric));
  const banded = [...model.catalogue.values()].filter((m) => m.has_default_band).map((m) => m.id);
  return [...new Set([...leaking, ...banded])].filter((id) => !taken.has(id)).slice(0, SUGGESTED);
}
