// The ruler on which a band is set: this student's shots behind, the band as a bracket, and a grip for low,
// aim and high each, dragged by a finger or moved by arrow keys. It knows numbers only; what they mean and
// where they go is focus.js.

import { el, flush } from "./dom.js";
import { VERDICTS, digits, factor, label, signWords, step, unitOf, value } from "./say.js";

/** Parts of the scale at both ends that no edge is dragged into, so that its grip stays on the page. */
const MARGIN = 0.13;
const LEAST_SPAN = { deg: 20, m: 0.08, "m/s": 4, ms: 60, s: 0.2, ratio: 0.6, "%": 20, "%BW": 20 };
const TICKS = 5;
/** Keys are followed by more keys: entered when they stop. */
const KEYS_END_MS = 700;
const EDGES = ["low", "aim", "high"];

/** The scale that holds shots and edges with room to drag; the one before while it still fits. */
export function domainOf(values, band, unit, before) {
  const all = [...values, ...EDGES.map((e) => band?.[e])].filter((v) => v !== null && v !== undefined);
  if (all.length === 0) return before ?? [-(LEAST_SPAN[unit] ?? 1) / 2, (LEAST_SPAN[unit] ?? 1) / 2];
  const [low, high] = [Math.min(...all), Math.max(...all)];
  const least = Math.max(LEAST_SPAN[unit] ?? Math.abs(high) * 0.4, 1e-6);
  const span = Math.max((high - low) / 0.5, least);
  const fits = before && low >= before[0] + (before[1] - before[0]) * 0.2 && high <= before[1] - (before[1] - before[0]) * 0.2 && before[1] - before[0] < span * 2.5;
  if (fits) return before;
  const middle = (low + high) / 2;
  return [middle - span / 2, middle + span / 2];
}

/**
 * @param {{metric, unit, shots: {value, verdict, number}[], past: number[], band, domain, editable}} given shots newest first
 * @param {(band: {low, aim, high}) => void} set called once when a drag or a run of keys is over
 */
export function bandRuler(given, set) {
  const ruler = { ...given, set, draft: given.band ? pick(given.band) : null, grips: {} };
  ruler.bracket = el(".bracket", { "aria-hidden": "true" });
  ruler.said = el("p.inside", {});
  ruler.key = given.past.length > 0 && el("span.dim", {}, `small: ${given.past.length} earlier shots`);
  ruler.track = el(`.track${ruler.draft?.aim == null ? ".no-aim" : ""}`, {}, ticks(ruler), earlier(ruler), ruler.bracket, dots(ruler), grips(ruler));
  place(ruler);
  return el(".bandruler", { "data-metric": given.metric }, ruler.track, el(".under", {}, ruler.said, ruler.key));
}

const pick = (band) => Object.fromEntries(EDGES.map((e) => [e, band[e] ?? null]));
const percent = (ruler, v) => (100 * (v - ruler.domain[0])) / (ruler.domain[1] - ruler.domain[0]);

function ticks(ruler) {
  const k = factor(unitOf(ruler.metric, ruler.unit));
  const [from, to] = ruler.domain.map((v) => v * k);
  const raw = (to - from) / TICKS;
  const power = 10 ** Math.floor(Math.log10(raw));
  const size = [1, 2, 5, 10].map((n) => n * power).find((n) => n >= raw);
  const made = [];
  for (let at = Math.ceil(from / size) * size; at <= to; at += size) {
    const text = `${digitsOf(at, size)}`;
    made.push(el(`.tick${Math.abs(at) < size / 1e6 ? ".zero" : ""}`, { left: percent(ruler, at / k) }, el("span", {}, text)));
  }
  const signs = signWords(ruler.metric);
  const ends = signs ? [el("span.sign.minus", {}, `◂ ${signs.minus}`), el("span.sign.plus", {}, `${signs.plus} ▸`)] : [];
  return [el(".axis"), made, ends, el("span.unit", {}, label(unitOf(ruler.metric, ruler.unit)))];
}

const digitsOf = (at, size) => at.toFixed(Math.max(0, -Math.floor(Math.log10(size) + 1e-9))).replace(/^-(0(\.0*)?)$/, "$1").replace("-", "−");

// The newest on top and darkest; shots at one place stand on each other.
function dots(ruler) {
  const columns = new Map();
  const one = (shot, i) => {
    const column = Math.round(percent(ruler, shot.value) / 3);
    const level = columns.get(column) ?? 0;
    columns.set(column, level + 1);
    const [shape] = VERDICTS[shot.verdict] ?? ["○"];
    const dot = el(`span.dot${i === 0 ? ".newest" : ""}`, { left: percent(ruler, shot.value), "data-verdict": shot.verdict ?? "none" }, shape);
    dot.style.setProperty("--level", Math.min(level, 5));
    return dot;
  };
  const seen = ruler.shots.filter((s) => s.value !== null && s.value !== undefined);
  return el(".dots", { role: "img", "aria-label": seen.length ? `${seen.length} shots, the newest at ${value(ruler.metric, seen[0].value, ruler.unit)}` : "no shots measured yet" }, seen.map(one));
}

// Before this block, below the line: what the band is measured against when the block is young.
const earlier = (ruler) => el(".earlier", { "aria-hidden": "true" }, ruler.past.map((v) => el("span.was", { left: percent(ruler, v) })));

function grips(ruler) {
  if (!ruler.draft || !ruler.editable) return [];
  return EDGES.filter((edge) => ruler.draft[edge] !== null).map((edge) => grip(ruler, edge));
}

function grip(ruler, edge) {
  const node = el(`button.grip.${edge}`, { type: "button", role: "slider", "data-k": `grip:${ruler.metric}:${edge}`, "aria-orientation": "horizontal" }, el("span.word", {}, edge), el("b"));
  ruler.grips[edge] = node;
  node.onpointerdown = (event) => drag(ruler, edge, event);
  node.onkeydown = (event) => keys(ruler, edge, event);
  node.onblur = () => finish(ruler);
  return node;
}

function drag(ruler, edge, event) {
  if (event.button > 0) return;
  const node = ruler.grips[edge];
  const box = ruler.track.getBoundingClientRect();
  const before = { ...ruler.draft };
  const offset = event.clientX - (box.left + (box.width * percent(ruler, ruler.draft[edge])) / 100);
  node.setPointerCapture(event.pointerId);
  node.dataset.held = "true";
  const follow = (e) => {
    const share = (e.clientX - offset - box.left) / box.width;
    move(ruler, edge, ruler.domain[0] + share * (ruler.domain[1] - ruler.domain[0]), MARGIN);
  };
  const end = (e) => {
    node.onpointermove = node.onpointerup = node.onpointercancel = null;
    delete node.dataset.held;
    if (e.type === "pointercancel") ruler.draft = before;
    place(ruler);
    finish(ruler, before);
  };
  Object.assign(node, { onpointermove: follow, onpointerup: end, onpointercancel: end });
}

function keys(ruler, edge, event) {
  const steps = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: 5, PageDown: -5 }[event.key];
  if (!steps) return;
  event.preventDefault();
  ruler.before ??= { ...ruler.draft };
  ruler.track.dataset.busy = "keys";
  // Keys lose no grip at the end of the scale, which follows when they stop.
  move(ruler, edge, ruler.draft[edge] + steps * stepOf(ruler), 0);
  clearTimeout(ruler.timer);
  ruler.timer = setTimeout(() => finish(ruler), KEYS_END_MS);
}

const stepOf = (ruler) => step(unitOf(ruler.metric, ruler.unit), ruler.domain[1] - ruler.domain[0]);

// Edges keep their order; they stop at each other.
function move(ruler, edge, wanted, margin) {
  const size = stepOf(ruler);
  const span = ruler.domain[1] - ruler.domain[0];
  const { low, aim, high } = ruler.draft;
  const least = Math.max(ruler.domain[0] + span * margin, { low: -Infinity, aim: low ?? -Infinity, high: Math.max(aim ?? -Infinity, low === null ? -Infinity : low + size) }[edge]);
  const most = Math.min(ruler.domain[1] - span * margin, { high: Infinity, aim: high ?? Infinity, low: Math.min(aim ?? Infinity, high === null ? Infinity : high - size) }[edge]);
  const snapped = Math.round(wanted / size) * size;
  ruler.draft[edge] = round(Math.max(Math.ceil(least / size - 1e-6) * size, Math.min(Math.floor(most / size + 1e-6) * size, snapped)));
  place(ruler);
}

// Sums of steps carry dust in the last digits.
const round = (v) => Number(v.toPrecision(9));

function finish(ruler, before = ruler.before) {
  clearTimeout(ruler.timer);
  ruler.before = null;
  delete ruler.track.dataset.busy;
  if (before && EDGES.some((e) => before[e] !== ruler.draft[e])) ruler.set({ ...ruler.draft });
  else flush();
}

function place(ruler) {
  const band = ruler.draft;
  ruler.bracket.hidden = !band || (band.low === null && band.high === null);
  if (!band) {
    ruler.said.textContent = "No band: values are shown, nothing is judged.";
    return;
  }
  const from = band.low === null ? 0 : percent(ruler, band.low);
  const to = band.high === null ? 100 : percent(ruler, band.high);
  ruler.bracket.style.left = `${from}%`;
  ruler.bracket.style.width = `${to - from}%`;
  ruler.bracket.dataset.open = band.low === null ? "low" : band.high === null ? "high" : "no";
  for (const [edge, node] of Object.entries(ruler.grips)) {
    const v = band[edge];
    node.style.left = `${percent(ruler, v)}%`;
    node.lastChild.textContent = digits(v, unitOf(ruler.metric, ruler.unit));
    const [least, most] = [ruler.domain[0], ruler.domain[1]].map((d) => String(round(d)));
    for (const [name, said] of [["aria-valuemin", least], ["aria-valuemax", most], ["aria-valuenow", String(v)], ["aria-valuetext", value(ruler.metric, v, ruler.unit)], ["aria-label", `${edge} edge`]]) node.setAttribute(name, said);
  }
  if (ruler.grips.aim) ruler.grips.aim.setAttribute("aria-label", "aim");
  ruler.said.textContent = inside(ruler, band);
}

function inside(ruler, band) {
  const seen = ruler.shots.filter((s) => s.value !== null && s.value !== undefined);
  if (seen.length === 0) return "No shot of this block is measured yet.";
  const within = seen.filter((s) => (band.low === null || s.value >= band.low) && (band.high === null || s.value <= band.high));
  return `${within.length} of ${seen.length} shots of the block lie within`;
}
