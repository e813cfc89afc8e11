// What the bay screen says of a lesson: a pure function from what the screen knows to words, digits and
// marks. Writing them into the page is for panel.js.

import { difference, gap, inUnits, shown } from "../figures.js";
import { metricName } from "../quantities.js";
import { shownSwing } from "../state.js";
import { HEADLINE, KINDS, inWords, said } from "../words.js";

const LISTED = 4;
const AGED = 5;

/** Verdicts as the screen shows them: a shape and a word. */
const VERDICTS = { in: "● in", low: "▼ low", high: "▲ high", not_judged: "○ not judged" };
const CHANGES = {
  real_gain: "real gain", real_loss: "real loss", real_change: "real change",
  not_shown_yet: "not shown yet", not_judged: "not judged",
};
const MODES = { guest: "Guest: nothing is kept", coach: "Coach: nothing is kept" };

/**
 * The lesson as the bay shows it. `kind`: `none` (nobody is in the bay), `seat` (somebody, but no numbers of
 * a block), `block` (focus, speed, leak), `check` (nothing but the count).
 */
export function bayView(screen, units) {
  const { lesson } = screen;
  if (!lesson?.seat) return { kind: "none" };
  const who = whoWords(lesson.seat);
  const page = pageOf(screen);
  const base = { who, block: blockWords(page ?? lesson), calm: calm(lesson), side: strangerWords(lesson, shownSwing(screen)) };
  if (!page) return { kind: "seat", ...base };
  if (!page.feedback) return { kind: "check", ...base, count: countWords(page.block) };
  const swing = freshSwing(screen, page);
  // Where pain was told the advice stands alone.
  const { pain } = lesson.load;
  const shots = { kind: "block", ...base, recent: recent(page, units), leak: pain ? null : leak(page, units) };
  if (!page.focus.length && !page.speed) return shots;
  return {
    ...shots,
    speed: page.speed && speed(page, swing, units),
    lanes: page.focus.map((focus) => lane(focus, page, swing, units)),
    sentence: swing || pain || !page.sentence ? "" : inUnits(page.sentence, units),
    judged: swing ? null : judged(page.focus),
  };
}

/** The live number of a lane while somebody moves slowly, or `null`. */
export function liveOf(lane, screen, units) {
  if (!screen.linked || (screen.state !== "at_address" && screen.state !== "in_motion")) return null;
  if (!lane.live || lane.spared) return null;
  const value = screen.live?.[{ pelvis_shift: "shift", pelvis_rotation: "rotation" }[lane.live]];
  if (value == null) return null;
  const verdict = lane.band ? inside(lane.band, value) : null;
  return { value, verdict, ...said(lane.metric, value, lane.reportUnit, units) };
}

// The block that goes on, else the one that ended last as long as no swing came after it.
function pageOf({ lesson, ended, swings, outside }) {
  if (lesson.block) return lesson;
  const last = swings.at(-1)?.id;
  const of = ended?.shots.some((s) => s.swing === last) || last === outside || !last;
  return ended && of ? ended : null;
}

// The newest swing when the lesson does not know it yet or does not count it.
function freshSwing(screen, page) {
  const swing = shownSwing(screen);
  if (!swing || swing.id === screen.outside) return null;
  const counted = page.shots.find((shot) => !shot.excluded);
  return counted?.swing === swing.id ? null : swing;
}

function whoWords({ mode, student, club }) {
  if (!student) return { name: MODES[mode] ?? mode, details: club?.name ?? "" };
  const side = student.side && `${student.side}-handed`;
  return { name: student.name, details: [side, club?.name ?? "no club chosen"].filter(Boolean).join(" · ") };
}

// Whoever swings the other way is hardly the one whose lesson it is.
function strangerWords({ seat }, swing) {
  const side = seat.student?.side;
  const handed = swing?.measurement.handed;
  if (!side || !handed || side === handed) return "";
  return `This swing was ${handed}-handed: is ${seat.student.name} in the bay?`;
}

function blockWords({ block }) {
  if (!block) return "";
  const done = block.ended_utc_ns == null ? "" : " ended";
  const planned = block.purpose === "check" && !done ? ` of ${block.planned}` : "";
  if (done) return `${block.purpose}${done}, ${block.shots} shots`;
  if (planned && block.shots >= block.planned) return `${block.purpose}, complete`;
  return block.shots ? `${block.purpose}, shot ${block.shots}${planned}` : `${block.purpose}, no shot yet`;
}

// Shots beyond the planned ones do not count.
function countWords({ shots, planned }) {
  const say = shots < planned ? "Check block: numbers afterwards" : "Check complete: the numbers follow";
  return { say, shots: String(Math.min(shots, planned)), of: `of ${planned} shots` };
}

const calm = ({ load }) => ({ advice: capital(load.advice ?? ""), rest: load.rest_s ?? 0 });

function lane(focus, page, swing, units) {
  const { metric, unit, band, spared } = focus;
  const now = swing ? freshMark(metric, swing, page) : focus.marks[0];
  const past = swing ? focus.marks : focus.marks.slice(1);
  const marks = past.slice(0, AGED).map((mark, i) => ({ ...shape(mark, band), age: i + 1 }));
  return {
    metric, name: metricName(metric), reportUnit: unit, band, spared, live: page.block.ended_utc_ns == null ? focus.live : null,
    ...digitsOf(metric, now, unit, units), ...judgement(now, focus, units),
    marks: [...(now?.value == null ? [] : [{ ...shape(now, band), age: 0 }]), ...marks].filter((m) => m.value != null),
    edges: band && !spared ? edges(metric, band, units) : [],
  };
}

// A swing that the lesson does not hold: its value is known, what it means is not.
function freshMark(metric, swing, { shots }) {
  const found = swing.measurement.metrics[metric];
  const listed = shots.find((shot) => shot.swing === swing.id);
  const { kind } = swing.measurement;
  const why = listed?.excluded ? `does not count: ${listed.excluded}`
    : kind === "shot" || kind === "swing" ? "" : `${KINDS[kind] ?? kind}, does not count`;
  return { swing: swing.id, value: found?.value ?? null, verdict: why ? "not_judged" : null, reason: why || found?.reason || "", waits: !why };
}

function digitsOf(metric, mark, unit, units) {
  if (mark?.value == null) return { digits: "—", unit: "", word: "", measured: false };
  return { ...said(metric, mark.value, unit, units), measured: true };
}

// Shape and words of the judgement, and why there is none.
function judgement(mark, { band, spared }, units) {
  if (spared) return { verdict: "", reason: `To be spared: ${inUnits(spared, units)}` };
  if (!mark) return { verdict: "", reason: "no shot in this block yet" };
  if (mark.value == null) return { verdict: "", reason: `not measured: ${mark.reason || "no reason given"}` };
  if (mark.waits) return { verdict: "", reason: band ? "being judged" : "" };
  if (!mark.verdict) return { verdict: "", reason: band ? "" : "no band set" };
  return { verdict: VERDICTS[mark.verdict] ?? mark.verdict, reason: mark.reason ?? "" };
}

// What a mark looks like: without a band there is nothing to be in or out of.
function shape({ value, verdict }, band) {
  return { value, shape: band ? verdict ?? "not_judged" : "plain" };
}

// What the last shot was in all focus metrics together, for the tone: `in`, `out`, or nothing.
function judged(focus) {
  const marks = focus.filter((f) => !f.spared).map((f) => f.marks[0]).filter((m) => m?.verdict && m.verdict !== "not_judged");
  if (!marks.length) return null;
  return { swing: marks[0].swing, verdict: marks.every((m) => m.verdict === "in") ? "in" : "out" };
}

function edges(metric, band, units) {
  return ["low", "aim", "high"].filter((edge) => band[edge] != null)
    .map((edge) => ({ edge, value: band[edge], words: inWords(metric, band[edge], band.unit, units) }));
}

const inside = ({ low, high }, value) => (value >= (low ?? -Infinity) && value <= (high ?? Infinity) ? "in" : "out");

function speed({ speed: focus, block }, swing, units) {
  const now = swing ? freshMark(HEADLINE, swing, { shots: [] }) : focus.marks[0];
  const { change } = focus;
  const against = block.purpose === "baseline" ? "this block is the baseline" : "no baseline block with this club yet";
  return {
    name: metricName(HEADLINE), ...digitsOf(HEADLINE, now, focus.unit, units),
    reason: now && now.value == null ? `not measured: ${now.reason || "no reason given"}` : "",
    change: change?.shift == null ? "" : `${difference(change.shift, change.unit, units)} since baseline`,
    verdict: change ? verdictWords(change) : "",
    why: change ? inUnits(withoutVerdict(change.words), units) : against,
  };
}

// The sentence begins with the verdict, which stands before it already.
const withoutVerdict = (words) => capital(words.replace(/^[^:,.]*?( yet)?: /, ""));

function verdictWords({ verdict, more_shots: more }) {
  const word = CHANGES[verdict] ?? verdict;
  return `${capital(word)}${more ? ` (${more} more shots)` : ""}.`;
}

/** Shots as a small list, newest first: number, head speed, and a shape for each metric in focus. */
function recent({ shots, block }, units) {
  let number = block.shots;
  return shots.slice(0, LISTED).map((shot, i) => {
    const speed = shot.marks.at(-1);
    const { digits, unit } = speed?.value == null ? { digits: "—", unit: "" } : shown(speed.value, "m/s", units);
    const shapes = shot.marks.slice(0, -1).map((m) => (m.value == null ? "—" : (VERDICTS[m.verdict] ?? "·").slice(0, 1)));
    const label = shot.excluded ? "not counted" : `${i ? "" : "shot "}${number--}`;
    return { label, speed: `${digits}${gap(unit)}`, shapes: shot.excluded ? "" : shapes.join(" ") };
  });
}

function leak({ leaks }, units) {
  const [first, second] = leaks.filter((l) => l.shown && l.status === "present");
  if (!first) return null;
  return {
    name: first.name, sentence: inUnits(first.sentence, units),
    count: `${first.shots} of ${first.judged} shots`, direction: first.direction ?? "",
    speed: first.speed, source: first.source,
    suggestion: first.suggestion?.text ?? "", cautions: first.suggestion?.cautions.join(" ") ?? "",
    also: second ? `Also: ${second.name}, ${second.shots} of ${second.judged} shots` : "",
  };
}

const capital = (text) => text.slice(0, 1).toUpperCase() + text.slice(1);
