// What keeps a student whole: warm-up and pain at the start, pain during, swings at full effort, footing,
// and the movements to be spared.

import { enter, enterOfSession, enterOfStudent } from "./acts.js";
import { button, choice, el } from "./dom.js";
import { field } from "./form.js";
import { holds } from "./ledger.js";
import { model, session, student, ui } from "./model.js";
import { capital, count, sentence } from "./say.js";

/** The closed list of movements (analysis/src/coaching/limits.rs), and coming back after an injury. */
const MOVEMENTS = [
  ["rotation", "full rotation"], ["back", "the back"], ["lead_knee", "the lead knee"], ["trail_knee", "the trail knee"], ["hips", "the hips"],
  ["shoulders", "the shoulders"], ["wrists", "the wrists"], ["pushing", "pushing hard into the ground"], ["maximal_effort", "swings with full effort"], ["returning", "coming back after an injury"],
];
const REASONS = ["physiotherapist's advice", "doctor's advice", "the student's wish", "the coach's decision"];
const FOOTINGS = ["spikes on a mat", "flat soles on a mat", "spikes on turf", "barefoot"];
const READY = "warmed up, no pain";
const PAINS = ["pain", "pain in the back", "pain in a knee", "pain in a hip", "pain in a shoulder", "pain in a wrist"];
const FATIGUES = ["tired", "very tired"];

const said = (key) => holds({ session: session() }, key);
const checkedIn = () => said("checked_in");
// Whoever came with pain or tired was asked as well.
const asked = () => checkedIn() ?? said("pain") ?? said("fatigue");

/** Under the top strip, always: limits, load, advice, a club that is not the chosen one, the open check-in. */
export function careStrip() {
  if (!session()) return null;
  const { limits, load, block, club_length: other } = model.lesson;
  const came = [said("pain"), said("fatigue")].filter(Boolean);
  const chips = [
    ...came.map((words) => el("span.chip.limit", {}, `△ came with ${words}`)),
    ...limits.map((l) => el("span.chip.limit", {}, `▣ spare ${l}`)),
    load.full > 0 || load.advice ? el("span.chip", {}, loadWords(load)) : null,
  ].filter(Boolean);
  return [
    load.advice && el("p.loud.advice", { role: "alert" }, `△ ${capital(load.advice)}${load.rest_s ? ` · ${rest(load.rest_s)} left` : ""}`),
    other && model.ui.tab !== "student" && el(".row.tight", {}, el("p.loud", {}, `△ ${sentence(other.words)}`), button("care:club", "Choose the club", () => ui({ tab: "student" }))),
    !asked() && checkIn(),
    chips.length > 0 && el(".chips", {}, chips),
    block && block.shots === 0 && asked() && el(".row.tight", {}, painOf({ block: block.id }, "block")),
  ];
}

const loadWords = (load) => `${load.full}${load.limit === null ? "" : ` of ${load.limit}`} full-effort swings`;
const rest = (s) => (s >= 90 ? `${Math.ceil(s / 60)} min rest` : `${s} s rest`);

function checkIn() {
  return el(".checkin", { role: "group", "aria-label": "Check-in" },
    el("p", {}, el("b", {}, model.lesson.blocks.some((b) => b.shots > 0) ? "Not asked yet: " : "Before the first shot: "), "warmed up? Any pain?"),
    el(".row.tight", {}, button("checkin:ready", "Warmed up, no pain", () => enterOfSession("checked_in", READY), { kind: "strong" }), painOf({ session: session() }, "start")));
}

/** Pain and fatigue, chosen behind one button; of a shot, a block or the whole lesson. */
function painOf(about, key) {
  const open = model.ui.ask?.what === `pain:${key}`;
  return el(".pains", {},
    button(`pains:${key}`, "Pain or fatigue", () => ui({ ask: open ? null : { what: `pain:${key}` } }), { kind: "alarm", "aria-expanded": String(open) }),
    open && painRow(key, {}, async (what, words) => (await enter(about, what, words)) && ui({ ask: null })));
}

/** Buttons for pain and fatigue; what holds is pressed, and tapped again is taken back. */
export function painRow(key, held, tell) {
  const one = (what) => (words) => button(`pain:${key}:${words}`, words, () => tell(what, words === held[what] ? null : words), { "aria-pressed": String(words === held[what]) });
  return el(".row.sub", { role: "group", "aria-label": "Pain or fatigue" }, PAINS.map(one("pain")), FATIGUES.map(one("fatigue")));
}

/** On the student's page: check-in, load, footing, limits. */
export function carePanel() {
  if (!session() || ["add", "other", "consent"].includes(model.ui.ask?.what)) return null;
  return [limitsCard(), loadCard(), startCard()];
}

function startCard() {
  const footing = said("footing");
  const own = async (event) => {
    event.preventDefault();
    const words = (model.ui.drafts.footing ?? "").trim();
    if (words && await enterOfSession("footing", words)) model.ui.drafts.footing = "";
    ui({});
  };
  const held = { pain: said("pain"), fatigue: said("fatigue") };
  const again = button("checkin:again", "Ask again", () => enterOfSession("checked_in", null));
  return el(".card", {},
    el("h2", {}, "Start of the lesson"),
    el("p", {}, checkedIn() ? `Checked in: ${checkedIn()}` : asked() ? `Came with ${[held.pain, held.fatigue].filter(Boolean).join(", ")}` : "Not checked in yet."),
    checkedIn() && el(".row", {}, again),
    el("h3", {}, "Pain or fatigue"),
    painRow("lesson", held, enterOfSession),
    el("h3", {}, "Footing"),
    choice("footing", "Footwear and surface", FOOTINGS.map((f) => [f, f]), footing, (v) => enterOfSession("footing", v)),
    footing && !FOOTINGS.includes(footing) && el("p", {}, `Told: ${footing}`),
    el("form.row", { onsubmit: own }, field("footing", "Other footwear or surface"), el("button", { type: "submit", "data-k": "footing:own" }, "Tell")));
}

function loadCard() {
  const { load } = model.lesson;
  const set = (n) => enterOfStudent("full_effort_max", Math.max(0, n));
  return el(".card", {},
    el("h2", {}, "Swings at full effort"),
    el("p", {}, el("b", {}, loadWords(load)), load.rest_s ? ` · ${rest(load.rest_s)} still due` : ""),
    load.limit !== null && el(".row", {}, el("span.lead-in", {}, "at most"),
      button("load:less", "−", () => set(load.limit - 1), { "aria-label": "one less" }), el("output", {}, String(load.limit)), button("load:more", "+", () => set(load.limit + 1), { "aria-label": "one more" }),
      holds({ student: student().id }, "full_effort_max") !== null && button("load:default", "Usual for this age", () => enterOfStudent("full_effort_max", null))));
}

function limitsCard() {
  const held = holds({ student: student().id }, "limits") ?? [];
  const reason = model.ui.drafts.reason?.trim() || REASONS[0];
  const toggle = (movement) => enterOfStudent("limits", held.some((l) => l.movement === movement) ? held.filter((l) => l.movement !== movement) : [...held, { movement, reason }]);
  const one = ([movement, words]) => {
    const limit = held.find((l) => l.movement === movement);
    return button(`limit:${movement}`, [el("span", {}, `${limit ? "▣" : "□"} ${words}`), limit?.reason && el("span.sub", {}, limit.reason)], () => toggle(movement), { "aria-pressed": String(Boolean(limit)) });
  };
  return el(".card.limits", {},
    el("h2", {}, "To be spared"),
    el("p.dim", {}, `Measured all the same, but not judged, not suggested. ${held.length ? `${count(held.length, "movement")} spared.` : "Nothing is."}`),
    el(".row", {}, el("span.lead-in", {}, "because of"), choice("reason", "Reason", REASONS.map((r) => [r, r]), reason, (v) => { model.ui.drafts.reason = v ?? REASONS[0]; ui({}); })),
    el(".row", {}, field("reason", "or in your words", { onchange: () => ui({}) })),
    el(".wrap.movements", {}, MOVEMENTS.map(one)));
}
