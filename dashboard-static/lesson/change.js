// Whether this block differs from the baseline: the verdict in words, the shift on a line about zero, and
// how many shots are still needed.

import { gap } from "../figures.js";
import { el } from "./dom.js";
import { model, session } from "./model.js";
import { count, difference, label, metricName, sentence, unitOf } from "./say.js";

const VERDICTS = { real_gain: ["▲", "real gain"], real_loss: ["▼", "real loss"], real_change: ["◆", "real change"], not_shown_yet: ["◌", "not shown yet"], not_judged: ["—", "not judged"] };

export function changePanel() {
  if (!session()) return null;
  const { block, blocks, focus, speed } = model.lesson;
  const baseline = blocks.find((b) => b.purpose === "baseline");
  const judged = [speed, ...focus].filter((f) => f?.change);
  return [
    el("h2.list", {}, "Is the change real?"),
    !baseline && el("p.hint", {}, "Nothing to compare with: this lesson has no baseline block."),
    baseline && !block && el("p.hint", {}, "Begin a practice or check block: it is compared with the baseline."),
    baseline && block && judged.length === 0 && el("p.hint", {}, block.purpose === "baseline" ? "This is the baseline. Begin a practice or check block to compare with it." : "There is no earlier baseline with this club."),
    judged.map(card),
  ];
}

function card({ metric, unit, change }) {
  const [shape, word] = VERDICTS[change.verdict] ?? ["", change.verdict.replaceAll("_", " ")];
  const number = (id) => model.lesson.blocks.find((b) => b.id === id)?.number ?? "?";
  return el("article.card.change", { "data-metric": metric, "data-verdict": change.verdict },
    el("header", {}, el("h3", {}, metricName(metric)), el("p.verdict", {}, el("i", { "aria-hidden": "true" }, shape), ` ${word}`)),
    change.shift !== null && (change.low === null ? el("p.only", {}, `${difference(change.metric, change.shift, unit)} so far`) : line(change, unit)),
    el("p", {}, sentence(change.words)),
    el("p.dim", {}, [
      `block ${number(change.before)} against block ${number(change.after)}: ${change.shots[0]} and ${count(change.shots[1], "shot")}`,
      change.detectable !== null && `with so many shots ${difference(change.metric, change.detectable, unit).replace("+", "")} could be told (gray)`,
    ].filter(Boolean).join(" · ")),
    change.more_shots !== null && change.more_shots > 0 && el("p.more", {}, el("b", {}, count(change.more_shots, "more shot")), " to show a change of the size that matters"));
}

// Zero stands in the middle; the interval as a bar, the shift as a mark, what can be told as a gray zone.
function line(change, unit) {
  const most = Math.max(...[change.shift, change.low, change.high, change.detectable].map((v) => Math.abs(v ?? 0))) * 1.15 || 1;
  const x = (v) => 50 + (50 * v) / most;
  const zone = (name, from, to) => el(`.${name}`, { left: x(from), width: x(to) - x(from) });
  return el(".shift", { role: "img", "aria-label": `shift ${difference(change.metric, change.shift, unit)}` },
    change.detectable !== null && zone("zone", -change.detectable, change.detectable),
    el(".zero", { left: 50 }), zone("reach", change.low, change.high),
    el(".mark", { left: x(change.shift) }), el("span.said", { left: Math.min(88, Math.max(12, x(change.shift))) }, difference(change.metric, change.shift, unit)), el("span.unit", {}, `0${gap(label(unitOf(change.metric, unit)))}`));
}
