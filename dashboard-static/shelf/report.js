// What a student takes home, as a page for paper and as one file without anything outside of it.

import { el } from "../element.js";
import { difference, inUnits } from "../figures.js";
import { metricName, quantity } from "../quantities.js";
import { Take } from "../take.js";
import { get, part } from "./api.js";
import { longDay, told } from "./dates.js";
import { save } from "./share.js";
import { stills } from "./stills.js";

const VERDICTS = {
  real_gain: ["●", "a real gain"], real_loss: ["●", "a real loss"], real_change: ["●", "a real change"],
  not_shown_yet: ["○", "not shown yet"], not_judged: ["—", "not judged"],
};

/** Puts the report of a lesson into `root`. */
export async function showReport(root, session, units) {
  try {
    const summary = await get(`sessions/${part(session)}/summary`);
    const picture = summary.shot ? await pictureOf(summary.shot) : [];
    document.title = `${summary.student}, ${longDay(summary.began_utc_ns, summary.zone)}`;
    const sheet = written(summary, picture, units);
    const problem = el("p.problem", { hidden: true });
    const hand = (words, onclick, kind = "") => el(`button${kind}`, { type: "button", onclick }, words);
    root.replaceChildren(
      el(".tools", {}, el("a", { href: "/shelf" }, "← Shelf"), hand("Print", () => print(), ".strong"), hand("Save as one file", () => save(sheet, fileName(summary)).catch((e) => {
        problem.hidden = false;
        problem.textContent = e.message;
      }))),
      problem, sheet);
    root.dataset.ready = "yes";
  } catch (error) {
    root.replaceChildren(el("p.problem", {}, error.message), el("p", {}, el("a", { href: "/shelf" }, "← Shelf")));
  }
}

// Without a picture the page is still worth having.
async function pictureOf(swing) {
  try {
    const [kept, replay] = await Promise.all([get(`swings/${part(swing)}`), get(`swings/${part(swing)}/replay`)]);
    return stills(new Take(replay, kept.report.measurement.events));
  } catch {
    return [];
  }
}

function written(summary, picture, units) {
  const facts = [summary.side && `${summary.side}-handed`, summary.club, `${summary.shots} ${summary.shots === 1 ? "shot" : "shots"}`];
  return el("article.sheet", {},
    el("header", {}, el("p.over", {}, "Lesson summary"), el("h1", {}, summary.student), el("p", {}, [longDay(summary.began_utc_ns, summary.zone), ...facts.filter(Boolean)].join(" · "))),
    el("section", {}, el("h2", {}, "What changed"), summary.changes.length ? el("ul.changes", {}, summary.changes.map((c) => change(c, units))) : el("p", {}, "Nothing was compared in this lesson: a baseline and a check block show what changes.")),
    el("section", {}, el("h2", {}, summary.keep.length > 1 ? "Two things to keep" : "To keep"), summary.keep.length ? el("ol.keep", {}, summary.keep.slice(0, 2).map((k) => el("li", {}, sentence(inUnits(k, units))))) : el("p", {}, "Your coach has not chosen any yet.")),
    picture.length > 0 && el("section.picture", {}, el("h2", {}, "The shot that stands for the last block"), el(".stills", {}, picture), el("p.key", {}, "lead side solid · trail side hatched · plates: pelvis and thorax, bright in front")),
    summary.limits.length > 0 && el("section", {}, el("h2", {}, "To be spared"), el("ul", {}, summary.limits.map((l) => el("li", {}, l)))),
    el("section.next", {}, el("h2", {}, "Next lesson"), el("p", {}, summary.next ? told(summary.next) : "Not set yet.")),
    el("section.cautions", {}, el("h2", {}, "Take care"), el("ul", {}, summary.cautions.map((c) => el("li", {}, c)))));
}

function change(one, units) {
  const [mark, words] = VERDICTS[one.verdict] ?? ["—", one.verdict];
  const unit = quantity(one.metric).share ? "share" : one.unit;
  const size = one.shift === null || one.verdict === "not_judged" ? "" : difference(one.shift, unit, units);
  return el("li", { "data-verdict": one.verdict }, el("p.what", {}, el("b", {}, metricName(one.metric)), el("span.size", {}, size), el("span.verdict", {}, `${mark} ${words}`)), el("p.words", {}, inUnits(one.words, units)));
}

const sentence = (text) => (text ? text[0].toUpperCase() + text.slice(1) : "");
const fileName = (summary) => `${summary.student} ${new Date(summary.began_utc_ns / 1e6).toISOString().slice(0, 10)}.html`.replaceAll(/[^\p{L}\p{N} .-]/gu, "");
