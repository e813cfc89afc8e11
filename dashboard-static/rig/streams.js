// The table of streams: every figure beside its limit, and what to do where one is beyond.

import { el, fill } from "../element.js";
import { findingsOf, metric, otherFindings, rateState, share, streams } from "./checks.js";
import { LIMITS, judge } from "./limits.js";
import { STATES, figure } from "./say.js";

const COLUMNS = [
  ["Stream", ""], ["Frames a second", `limit ± ${100 * LIMITS.rate.fine} %`], ["Lost in 10 s", `limit ${LIMITS.loss.fine} %`], ["Too late", `limit ${LIMITS.late.fine} %`],
  ["Twice", `limit ${LIMITS.twice.fine} %`], ["Out of order", "put right, no limit"], ["Clock", `limit ± ${LIMITS.clock.fine} ms`],
];

export function showStreams(view) {
  const root = document.getElementById("streams");
  const all = streams(view).map((s) => cells(s, view));
  fill(root.querySelector("thead"), "once", () => [el("tr", {}, COLUMNS.map(([name, limit]) => el("th", { scope: "col" }, name, limit && el("span.limit", {}, limit))))]);
  fill(root.querySelector("tbody"), all, () => (all.length ? all.map(row) : [el("tr", {}, el("td", { colspan: COLUMNS.length }, "No stream has come yet."))]));
  const texts = [...findingsOf(view, "rate"), ...findingsOf(view, "loss"), ...findingsOf(view, "order"), ...findingsOf(view, "names"), ...otherFindings(view)].map((f) => f.text);
  fill(root.querySelector(".remarks"), texts, () => texts.map((text) => el("li", {}, text)));
}

// Text, state and a small second line of each cell.
function cells(stream, view) {
  const { content, stream: id } = stream;
  const rated = stream.rate_hz ? `of ${figure(stream.rate_hz)}` : "rate not described";
  return [
    { text: content, small: `stream ${id}, ${stream.received} datagrams` },
    { text: figure(stream.seen_hz), small: content === "trigger" ? "pulses" : rated, state: content === "trigger" ? null : rateState(stream) },
    { text: figure(stream.loss_percent, 2, "%"), small: `${stream.lost} lost`, state: judge(stream.loss_percent, LIMITS.loss) },
    { text: figure(share(stream.late, stream), 2, "%"), small: `${stream.late} late`, state: judge(share(stream.late, stream), LIMITS.late) },
    { text: figure(share(stream.duplicate, stream), 2, "%"), small: `${stream.duplicate} twice`, state: judge(share(stream.duplicate, stream), LIMITS.twice) },
    { text: `${stream.reordered}` },
    clockCell(content, view),
  ];
}

// The clock's uncertainty is known of the plates against the markers only, from the last swing.
function clockCell(content, view) {
  if (content === "markers") return { text: "leads", small: "the others are held against it" };
  const { value, reason } = metric(view, "clock_uncertainty");
  if (content !== "forces" || value === null) return { text: "—", small: content === "forces" ? reason : "not told" };
  return { text: value === 0 ? "the same" : `± ${figure(value, 2)} ms`, small: "in the last swing", state: judge(value, LIMITS.clock) };
}

function row([first, ...rest]) {
  return el("tr", {}, el("th", { scope: "row" }, first.text, el("span.small", {}, first.small)), rest.map(cell));
}

/** A cell with a state in word and shape where it is not fine. */
export function cell({ text, small, state }) {
  const mark = state && state !== "ok" && el("span.mark", { "data-state": state }, `${STATES[state].shape} ${STATES[state].word} `);
  return el("td", {}, mark, el("span.value", {}, text), small && el("span.small", {}, small));
}
