// Leaks of the block with their evidence, and the rotation bar.

import { eventName } from "../words.js";
import { button, el } from "./dom.js";
import { fold } from "./form.js";
import { model, session, ui } from "./model.js";
import { momentView, shotNearest } from "./moment.js";
import { capital, count, difference, metricName, value } from "./say.js";
import { rotationCard } from "./rotation.js";
import { thresholdsOf } from "./thresholds.js";

const GROUPS = [["not_judged", "Not judged"], ["spared", "Spared by the student's limits"], ["off", "Waiting for your thresholds"], ["absent", "Not there in this block"]];

export function leaksPanel() {
  if (!session()) return null;
  const { block, leaks } = model.lesson;
  if (!block) return el("p.hint", {}, "Begin a block: leaks are looked for in its shots.");
  const present = leaks.filter((l) => l.status === "present");
  return [
    el("h2.list", {}, "Leaks: patterns that cost speed"),
    present.length === 0 && el("p.hint", {}, leaks.some((l) => l.judged > 0) ? "● None is there in this block." : "No leak can be judged yet: it takes shots that are measured."),
    present.map(presentCard),
    GROUPS.map(([status, words]) => group(words, leaks.filter((l) => l.status === status))),
    rotationCard(),
    fold("thresholds", "What every leak is judged by", "card.group", thresholdsOf("every")),
  ];
}

const toggle = (leak) => ui({ leak: model.ui.leak === leak.id ? null : leak.id, evidence: 0, moment: null });

function presentCard(leak) {
  const open = model.ui.leak === leak.id;
  return el("article.card.leak", { "data-leak": leak.id },
    button(`leak:${leak.id}`, [
      el("b", {}, capital(leak.name)), el("span.seen", {}, `${leak.shots} of ${count(leak.judged, "shot")}`),
      el("span.told", {}, [leak.sentence, leak.direction && `(${leak.direction})`].filter(Boolean).join(" ")),
      el("span.sub", {}, leak.shown ? "put to the student" : "not put to the student: two others come first"),
    ], () => toggle(leak), { "aria-expanded": String(open), kind: "pick" }),
    leak.suggestion ? suggestion(leak.suggestion) : leak.why && el("p.hint", {}, leak.why),
    open && evidence(leak));
}

// Never a movement without its cautions.
const suggestion = (s) => el(".suggestion", {}, el("p", {}, el("b", {}, "Try: "), s.text), el("p.caution", {}, s.cautions.join(" ")));

function evidence(leak) {
  return el(".evidence", {},
    leak.why && leak.status !== "present" && el("p", {}, leak.why),
    leak.evidence.length > 0 && el("table", {},
      el("thead", {}, el("tr", {}, ["What shows it", "Median", "Against", "Read at"].map((h) => el("th", { scope: "col" }, h)))),
      el("tbody", {}, leak.evidence.map((e, i) => el("tr", {},
        el("th", { scope: "row" }, look(leak, e, i)), el("td", {}, value(e.metric, e.value, e.unit)),
        el("td", {}, e.threshold === null ? "—" : value(e.metric, e.threshold, e.unit)), el("td", {}, e.event ? eventName(e.event) : "whole swing"))))),
    moment(leak),
    el("p", {}, leak.speed),
    leak.slope && el("p", {}, el("b", {}, "This student's shots: "), slope(leak.slope), el("span.dim", {}, " An association, not a cause.")),
    el("p.dim", {}, `Source: ${leak.source}`),
    thresholdsOf(leak.id));
}

// What is looked at below: the name of a piece of evidence is its switch.
function look(leak, { metric }, i) {
  const name = metricName(metric.split("@")[0]);
  if (!model.lesson.block) return name;
  return button(`evidence:${leak.id}:${i}`, name, () => ui({ evidence: i, moment: null }), { "aria-pressed": String(i === model.ui.evidence), kind: "look" });
}

// The shot that stands for the block, at the moment that shows the leak.
function moment(leak) {
  const shown = leak.evidence[model.ui.evidence] ?? leak.evidence[0];
  const swing = shown && shown.value !== null && model.lesson.block ? shotNearest(model.lesson.block.id, shown.metric, shown.value) : null;
  if (!swing) return null;
  const number = model.numbers.get(swing)?.number;
  const title = `${number ? `Shot ${number}` : "The shot"}, nearest to the median`;
  const event = model.ui.moment ?? shown.event;
  return momentView({ swing, metric: shown.metric, event, key: `moment:${leak.id}`, title }, (chosen) => ui({ moment: chosen }));
}

// The slope in the units on screen: speed for a step that a person can picture.
const PICTURED = { m: 0.01, deg: 10, ratio: 0.1, ms: 10, s: 0.1 };

function slope({ metric, slope: per, low, high, words }) {
  const unit = model.catalogue.get(metric)?.unit;
  const size = PICTURED[unit] ?? 1;
  const each = unit ? ` for ${difference(metric, size, unit).replace("+", "")} more of ${metricName(metric).toLowerCase()}` : "";
  return `${difference("head_speed", per * size, "m/s")}${each} (${difference("head_speed", low * size, "m/s")} to ${difference("head_speed", high * size, "m/s")}). ${words}`;
}

function group(words, leaks) {
  if (leaks.length === 0) return null;
  const line = (leak) => el("li", {},
    button(`leak:${leak.id}`, [el("span", {}, capital(leak.name)), el("span.sub", {}, leak.why ?? (leak.judged ? `${leak.shots} of ${count(leak.judged, "shot")}` : ""))], () => toggle(leak), { "aria-expanded": String(model.ui.leak === leak.id), kind: "pick" }),
    model.ui.leak === leak.id && evidence(leak));
  return fold(`leaks.${words}`, `${words}: ${leaks.length}`, "card.group", el("ul", {}, leaks.map(line)));
}
