// Shots of the block: the last one large, the others as lines that open. Everything on them is one tap.

import { HEADLINE, eventName } from "../words.js";
import { enterOfSwing, undo } from "./acts.js";
import { button, choice, el } from "./dom.js";
import { field } from "./form.js";
import { holds, newest as newestOfKind, newestFirst } from "./ledger.js";
import { model, session, ui } from "./model.js";
import { painRow } from "./care.js";
import { movePanel } from "./moving.js";
import { momentView } from "./moment.js";
import { VERDICTS, clock, metricName, sentence as inUnits, value } from "./say.js";

/** A tap this soon after another shot has come was meant for the one before. */
const SETTLE_MS = 400;
const REASONS = ["mishit", "disturbed", "trying something", "wrong club", "badly measured"];
const EFFORTS = [["easy", "easy"], ["normal", "normal"], ["maximal", "maximal"]];
const STRIKES = ["heel", "center", "toe", "high", "low"];
const DIRECTIONS = ["left of target", "at target", "right of target"];

let shownLast = null;
let since = 0;

/** The shot that somebody is busy with: it stays in sight when a newer one comes. */
function held() {
  const swing = model.ui.ask?.swing ?? model.ui.open;
  return swing ? model.lesson.shots.slice(1).find((s) => s.swing === swing) : null;
}

/** The newest shot with what a coach does at once, and the one in work. */
export function lastShot() {
  if (!session()) return lastUnkept();
  const { block, shots, sentence, feedback } = model.lesson;
  if (!block) return null;
  const shot = shots[0];
  if (!shot) return el("p.hint", {}, "No shot in this block yet.");
  if (shot.swing !== shownLast) {
    shownLast = shot.swing;
    since = performance.now();
  }
  const busy = held();
  return [newest(shot, sentence, feedback), busy && row(busy)];
}

function newest(shot, sentence, feedback) {
  return el("article.shot.large", { "data-swing": shot.swing, "data-excluded": String(Boolean(shot.excluded)) },
    heading(shot),
    !shot.excluded && sentence && el("p.sentence", {}, inUnits(sentence), !feedback && el("span.dim", {}, " (not shown in the bay: check)")),
    marks(shot, true),
    el(".row.tight", {}, effort(shot, "last"), exclusion(shot, "last"), pain(shot, "last"), more(shot, "last")),
    opened(shot, "last"));
}

function lastUnkept() {
  const metric = model.lastSwing?.measurement.metrics["head_speed@impact"];
  if (!model.lesson?.seat || metric?.value == null) return null;
  return el("article.shot.large", {}, el("header", {}, el("h3", {}, "Last shot"), el("p", {}, `club head speed ${value("head_speed@impact", metric.value, metric.unit)}`)));
}

/** The other shots of the block, newest first. */
export function shotList() {
  if (!session() || !model.lesson.block) return null;
  const { shots } = model.lesson;
  if (shots.length < 2) return null;
  return [
    el("h2.list", {}, "Shots of the block, newest first"),
    shots.slice(1).map((s) => [measuredAnew(s, shots), s !== held() && row(s)]),
  ].flat(3);
}

// Above the last shot of an older calibration: what follows in time was measured with another one.
function measuredAnew(shot, shots) {
  const next = shots[shots.indexOf(shot) - 1];
  if (!next || (next.calibration ?? null) === (shot.calibration ?? null)) return null;
  return el("p.anew", {}, next.calibration == null ? "▲ from here on measured from each swing's address" : `▲ from here on measured with calibration ${next.calibration}`);
}

const row = (shot) => el("article.shot", { "data-swing": shot.swing, "data-excluded": String(Boolean(shot.excluded)) },
  heading(shot), marks(shot, false),
  el(".row.tight", {}, effort(shot, "row"), exclusion(shot, "row"), more(shot, "row")),
  opened(shot, "row"));

const numberOf = (shot) => model.numbers.get(shot.swing)?.number ?? "";
const key = (shot, place, what) => `${place}:${shot.swing}:${what}`;

// What was tapped belongs to the shot that stood there when the thumb set out.
const settled = (place, then) => () => {
  if (place === "last" && performance.now() - since < SETTLE_MS) return;
  then();
};

function heading(shot) {
  const facts = [clock(shot.impact_utc_ns), shot.kind !== "shot" && shot.kind, shot.handed === "left" && "left-handed"].filter(Boolean).join(" · ");
  const said = { strike: holds({ swing: shot.swing }, "strike"), direction: holds({ swing: shot.swing }, "direction") };
  const chips = [shot.excluded && `✕ does not count: ${shot.excluded}`, shot.pain && `△ ${shot.pain}`, shot.fatigue && `△ ${shot.fatigue}`, said.strike && `strike ${said.strike}`, said.direction, ...shot.tags.map((t) => `#${t}`), shot.notes > 0 && `✎ ${shot.notes}`];
  return el("header", {}, el("h3", {}, `Shot ${numberOf(shot)}`), el("span.dim", {}, facts), el(".chips", {}, chips.filter(Boolean).map((c) => el("span.chip", {}, c))));
}

function marks(shot, large) {
  const metrics = [...model.lesson.focus, model.lesson.speed].filter(Boolean);
  const one = (focus, i) => {
    const mark = shot.marks[i];
    const [shape, word] = VERDICTS[mark?.verdict] ?? ["", ""];
    const reading = mark?.value == null ? "—" : value(focus.metric, mark.value, focus.unit);
    const reason = large && mark?.reason ? el("small", {}, mark.value == null ? `not measured: ${mark.reason}` : mark.reason) : null;
    return el("li", { "data-verdict": mark?.verdict ?? "none" }, el("span.what", {}, metricName(focus.metric)), el("b", {}, reading), word && el("span.verdict", {}, el("i", { "aria-hidden": "true" }, shape), ` ${word}`), reason);
  };
  return el("ul.marks", {}, metrics.map(one));
}

function effort(shot, place) {
  const choose = (v) => settled(place, () => enterOfSwing(shot.swing, "effort", v))();
  return el(".effort", {}, el("span.lead-in", {}, "effort"), choice(key(shot, place, "effort"), `Effort of shot ${numberOf(shot)}`, EFFORTS, shot.effort, choose));
}

const asking = (shot, what) => model.ui.ask?.what === what && model.ui.ask.swing === shot.swing;
const ask = (shot, place, what) => settled(place, () => ui({ ask: asking(shot, what) ? null : { what, swing: shot.swing } }));

function exclusion(shot, place) {
  if (shot.excluded) return button(key(shot, place, "accept"), `Count shot ${numberOf(shot)} again`, settled(place, () => accept(shot)));
  return button(key(shot, place, "exclude"), `Exclude shot ${numberOf(shot)}`, ask(shot, place, "exclude"), { "aria-expanded": String(asking(shot, "exclude")) });
}

/** Undoing the exclusion itself where it is the newest word on it, so that the list of entries stays short. */
function accept(shot) {
  const open = newestOfKind();
  const last = newestFirst().find((e) => e.about.swing === shot.swing && e.key === "excluded");
  if (last && last.undoes === null && open.has(last.n)) undo(last.n);
  else enterOfSwing(shot.swing, "excluded", null);
}

function pain(shot, place) {
  const held = [shot.pain, shot.fatigue].filter(Boolean).join(", ");
  return button(key(shot, place, "pain"), held ? `△ ${held}` : "Pain or fatigue", ask(shot, place, "pain"), { "aria-expanded": String(asking(shot, "pain")), kind: "alarm" });
}

const isOpen = (shot) => model.ui.open === shot.swing;

function more(shot, place) {
  return button(key(shot, place, "more"), isOpen(shot) ? "Less" : "More", settled(place, () => ui({ open: isOpen(shot) ? null : shot.swing })), { "aria-expanded": String(isOpen(shot)) });
}

function opened(shot, place) {
  return [
    asking(shot, "exclude") && el(".row.sub", { role: "group", "aria-label": `Why shot ${numberOf(shot)} does not count` }, el("span.lead-in", {}, "because"),
      REASONS.map((why) => button(key(shot, place, `why:${why}`), why, () => tell(shot, "excluded", why)))),
    asking(shot, "pain") && painRow(key(shot, place, "pains"), shot, (what, words) => tell(shot, what, words)),
    isOpen(shot) && details(shot, place),
  ];
}

async function tell(shot, what, words) {
  if (await enterOfSwing(shot.swing, what, words)) ui({ ask: null });
}

function details(shot, place) {
  const about = { swing: shot.swing };
  const say = (what) => (v) => enterOfSwing(shot.swing, what, v);
  return el(".details", {},
    el(".row", {}, el("span.lead-in", {}, "strike"), choice(key(shot, place, "strike"), "Strike", STRIKES.map((s) => [s, s]), holds(about, "strike"), say("strike"))),
    el(".row", {}, el("span.lead-in", {}, "went"), choice(key(shot, place, "went"), "Direction", DIRECTIONS.map((s) => [s, s]), holds(about, "direction"), say("direction"))),
    place === "row" && el(".row", {}, pain(shot, place)),
    tags(shot, place),
    notes(shot, place),
    movePanel(shot, (what) => key(shot, place, what)));
}

function tags(shot, place) {
  const draftKey = `tag.${shot.swing}`;
  const addTag = async (event) => {
    event.preventDefault();
    const text = (model.ui.drafts[draftKey] ?? "").trim().replace(/^#/, "");
    if (text && await enterOfSwing(shot.swing, "tags", [...new Set([...shot.tags, text])])) model.ui.drafts[draftKey] = "";
    ui({});
  };
  return el("form.row", { onsubmit: addTag },
    shot.tags.map((tag) => button(key(shot, place, `tag:${tag}`), `#${tag} ✕`, () => enterOfSwing(shot.swing, "tags", shot.tags.filter((t) => t !== tag)), { "aria-label": `take tag ${tag} away` })),
    field(draftKey, "Tag"), el("button", { type: "submit", "data-k": key(shot, place, "tag") }, "Add tag"));
}

function notes(shot, place) {
  const kept = holds({ swing: shot.swing }, "notes") ?? [];
  const draftKey = `note.${shot.swing}`;
  const at = model.ui.drafts[`at.${shot.swing}`] ?? null;
  const addNote = async (event) => {
    event.preventDefault();
    const text = (model.ui.drafts[draftKey] ?? "").trim();
    if (text && await enterOfSwing(shot.swing, "notes", [...kept, { text, at }])) model.ui.drafts[draftKey] = "";
    ui({});
  };
  const line = (note, i) => el("li", {}, el("span", {}, note.at ? `at ${eventName(note.at)}: ` : "", note.text),
    button(key(shot, place, `note:${i}`), "✕", () => enterOfSwing(shot.swing, "notes", kept.toSpliced(i, 1)), { "aria-label": `take the note “${note.text}” away` }));
  const chooseAt = (v) => {
    model.ui.drafts[`at.${shot.swing}`] = v;
    ui({});
  };
  return el(".notes", {},
    kept.length > 0 && el("ul", {}, kept.map(line)),
    el("p.lead-in", {}, "A note stands on the whole shot, or at the moment that is tapped"),
    momentView({ swing: shot.swing, metric: model.lesson.focus[0]?.metric ?? HEADLINE, event: at, key: key(shot, place, "at") }, chooseAt),
    el("form.row", { onsubmit: addNote }, field(draftKey, at ? `Note at ${eventName(at)}` : "Note on the whole shot"), el("button", { type: "submit", "data-k": key(shot, place, "note") }, "Add note")));
}
