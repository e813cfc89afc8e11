// The tables of streams and their clocks: every figure beside its limit, and what to do where one is beyond.

import { el, fill } from "../element.js";
import { findingsOf, metric, otherFindings, rateState, share, streams } from "./checks.js";
import { LIMITS, judge } from "./limits.js";
import { STATES, figure } from "./say.js";

const COLUMNS = [
  ["Stream", ""], ["Frames a second", `limit ± ${100 * LIMITS.rate.fine} %`], ["Lost in 10 s", `limit ${LIMITS.loss.fine} %`], ["Too late", `limit ${LIMITS.late.fine} %`],
  ["Twice", `limit ${LIMITS.twice.fine} %`], ["Out of order", "put right, no limit"],
];
const CLOCKS = [
  ["Stream", ""], ["Known to", `limit ± ${LIMITS.clock.fine} ms`], ["Drift", `limit ± ${LIMITS.ppm.fine} ppm`], ["Slowest now", `limit ${LIMITS.delay.fine} ms`], ["Told late", "in bay.toml"],
];

export function showStreams(view) {
  const root = document.getElementById("streams");
  const all = streams(view).map(cells);
  table(root.querySelector(".order"), COLUMNS, all);
  table(root.querySelector(".clocks"), CLOCKS, streams(view).map((s) => clockCells(s, view)));
  const texts = [...findingsOf(view, "rate"), ...findingsOf(view, "loss"), ...findingsOf(view, "order"), ...findingsOf(view, "names"), ...otherFindings(view)].map((f) => f.text);
  fill(root.querySelector(".remarks"), texts, () => texts.map((text) => el("li", {}, text)));
}

function table(root, columns, rows) {
  fill(root.querySelector("thead"), "once", () => [el("tr", {}, columns.map(([name, limit]) => el("th", { scope: "col" }, name, limit && el("span.limit", {}, limit))))]);
  fill(root.querySelector("tbody"), rows, () => (rows.length ? rows.map(row) : [el("tr", {}, el("td", { colspan: columns.length }, "No stream has come yet."))]));
}

// Text, state and a small second line of each cell.
function cells(stream) {
  const { content, stream: id } = stream;
  const rated = stream.rate_hz ? `of ${figure(stream.rate_hz)}` : "rate not described";
  return [
    { text: content, small: `stream ${id}, ${stream.received} datagrams` },
    { text: figure(stream.seen_hz), small: content === "trigger" ? "pulses" : rated, state: content === "trigger" ? null : rateState(stream) },
    { text: figure(stream.loss_percent, 2, "%"), small: `${stream.lost} lost`, state: judge(stream.loss_percent, LIMITS.loss) },
    { text: figure(share(stream.late, stream), 2, "%"), small: `${stream.late} late`, state: judge(share(stream.late, stream), LIMITS.late) },
    { text: figure(share(stream.duplicate, stream), 2, "%"), small: `${stream.duplicate} twice`, state: judge(share(stream.duplicate, stream), LIMITS.twice) },
    { text: `${stream.reordered}` },
  ];
}

function clockCells(stream, view) {
  const { content, stream: id, clock, told_late_ms: told = 0 } = stream;
  return [
    { text: content, small: `stream ${id}${clock ? `, clock ${clock.clock}` : ""}` },
    clockCell(stream, view),
    driftCell(stream),
    { text: figure(clock?.delay_ms ?? null, 1, clock ? "ms" : ""), small: clock ? "after the fastest" : "", state: clock ? judge(clock.delay_ms, LIMITS.delay) : null },
    { text: told ? `${figure(told, 1)} ms` : "—", small: content === "markers" ? "the others are held against it" : told ? "than the markers" : "nothing" },
  ];
}

// How surely the clock is known against this computer's, now; what that meant for the plates in the last swing.
function clockCell({ clock, content }, view) {
  const { value } = metric(view, "clock_uncertainty");
  const swing = content === "forces" && value !== null ? (value === 0 ? "; the markers' own" : `; ± ${figure(value, 2)} ms to the markers in the last swing`) : "";
  if (!clock) return { text: "—", small: `not known yet${swing}` };
  const sets = clock.sets ? `, began anew ${clock.sets === 1 ? "once" : `${clock.sets} times`}` : "";
  return { text: `± ${figure(clock.uncertainty_ms, 2)} ms`, small: `against this computer${sets}${swing}`, state: judge(clock.uncertainty_ms, LIMITS.clock) };
}

function driftCell({ clock }) {
  if (!clock) return { text: "—" };
  return { text: `${clock.drift_ppm > 0 ? "+" : ""}${figure(clock.drift_ppm, 1)} ppm`, small: `offset ${figure(clock.offset_s, 3)} s`, state: judge(Math.abs(clock.drift_ppm), LIMITS.ppm) };
}

function row([first, ...rest]) {
  return el("tr", {}, el("th", { scope: "row" }, first.text, el("span.small", {}, first.small)), rest.map(cell));
}

/** A cell with a state in word and shape where it is not fine. */
export function cell({ text, small, state }) {
  const mark = state && state !== "ok" && el("span.mark", { "data-state": state }, `${STATES[state].shape} ${STATES[state].word} `);
  return el("td", {}, mark, el("span.value", {}, text), small && el("span.small", {}, small));
}
