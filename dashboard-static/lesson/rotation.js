// The rotation budget as one straight bar: closed | square | open.

import { choice, el } from "./dom.js";
import { model, ui } from "./model.js";
import { count } from "./say.js";

const SEGMENTS = [["pelvis", "pelvis"], ["thorax", "thorax"], ["shoulders", "shoulders"]];
const deg = (v) => `${Math.abs(v).toFixed(0)}°`;

export function rotationCard() {
  const { budget } = model.lesson;
  const shown = budget.find((b) => b.segment === model.ui.segment);
  return el(".card.rotation", {},
    el("header", {}, el("h2", {}, "Rotation budget"), choice("segment", "Segment", SEGMENTS, model.ui.segment, (v) => v && ui({ segment: v }))),
    shown ? bar(shown) : el("p.hint", {}, `Rotation of the ${model.ui.segment} is not measured in this block yet.`));
}

function bar(b) {
  const most = Math.ceil(Math.max(b.closed, b.open, b.top_max, 30) / 10) * 10 + 10;
  const x = (v) => 50 + (50 * v) / most;
  const part = (name, from, to) => el(`.part.${name}`, { left: x(Math.min(from, to)), width: x(Math.max(from, to)) - x(Math.min(from, to)) });
  const over = b.excess > 0 ? Math.min(b.excess, b.closed) : 0;
  const words = `Closed ${deg(b.closed)} at the top, ${b.open >= 0 ? "open" : "closed"} ${deg(b.open)} at impact.`;
  return [
    el(".bar", { role: "img", "aria-label": words },
      part("brought", -(b.closed - over), Math.min(b.open, 0) === 0 ? 0 : b.open), over > 0 && part("excess", -b.closed, -(b.closed - over)), part("open", 0, Math.max(b.open, 0)),
      el(".square", { left: 50 }), el(".limit", { left: x(-b.top_max) }),
      el("span.at.top", { left: x(-b.closed) }, `top ${deg(b.closed)}`), el("span.at.impact", { left: x(b.open) }, `impact ${deg(b.open)}`)),
    el(".ends", { "aria-hidden": "true" }, el("span", {}, "closed"), el("span", {}, "square"), el("span", {}, "open")),
    el("p", {}, words),
    el("dl.facts", {},
      fact("From top to impact", deg(b.range), interval(b.range_interval)),
      fact("Could be matched", `${deg(b.top_max)} closed at the most`, "dashed on the bar"),
      fact(b.excess > 0 ? "Not brought through" : "Brought through", deg(b.excess), signed(b.excess_interval, b.excess), over > 0 ? "hatched" : ""),
      b.rate !== null && fact("Mean rate", `${b.rate.toFixed(0)} °/s`)),
    el("p.dim", {}, `Medians of ${count(b.shots, "shot")}${b.range_interval ? "; 95 % intervals in brackets" : "; intervals from six shots on"}.`),
  ];
}

const fact = (name, ...what) => el("div", {}, el("dt", {}, name), el("dd", {}, el("b", {}, what[0]), ...what.slice(1).filter(Boolean).map((w) => el("span.dim", {}, ` ${w}`))));
const interval = (pair) => (pair ? `(${deg(pair[0])} to ${deg(pair[1])})` : "");
// The other side of zero keeps its sign.
function signed(pair, middle) {
  if (!pair) return "";
  const flip = middle > 0 ? 1 : -1;
  const [a, b] = pair.map((v) => v * flip).sort((p, q) => p - q);
  return `(${a < 0 ? "−" : ""}${deg(a)} to ${b < 0 ? "−" : ""}${deg(b)})`;
}
