// What keeps a student whole: warm-up and pain at the start, pain during, swings at full effort, footing,
// and the movements to be spared.

import { enterOfSession, enterOfStudent } from "./acts.js";
import { button, choice, el } from "./dom.js";
import { field } from "./form.js";
import { holds } from "./ledger.js";
import { model, session, student, ui } from "./model.js";
import { count } from "./say.js";
import { painOfBlock } from "./shots.js";

/** The closed list of movements (analysis/src/coaching/limits.rs), and coming back after an injury. */
const MOVEMENTS = [
  ["rotation", "full rotation"], ["back", "the back"], ["lead_knee", "the lead knee"], ["trail_knee", "the trail knee"], ["hips", "the hips"],
  ["shoulders", "the shoulders"], ["wrists", "the wrists"], ["pushing", "pushing hard into the ground"], ["maximal_effort", "swings with full effort"], ["returning", "coming back after an injury"],
];
const REASONS = ["physiotherapist's advice", "doctor's advice", "the student's wish", "the coach's decision"];
const FOOTINGS = ["spikes on a mat", "flat soles on a mat", "spikes on turf", "barefoot"];
const READY = "warmed up, no pain";
const HURTS = ["pain in the back", "pain in a knee", "pain in a hip", "pain in a shoulder", "pain in a wrist"];

const checkedIn = () => holds({ session: session() }, "checked_in");

/** Under the top strip, always: limits, load, advice, the open check-in. */
export function careStrip() {
  if (!session()) return null;
  const { limits, load, block } = model.lesson;
  const chips = [
    ...limits.map((l) => el("span.chip.limit", {}, `▣ spare ${l}`)),
    load.full > 0 || load.advice ? el("span.chip", {}, loadWords(load)) : null,
  ].filter(Boolean);
  return [
    load.advice && el("p.loud.advice", { role: "alert" }, `△ ${load.advice}${load.rest_s ? ` · ${rest(load.rest_s)} left` : ""}`),
    !checkedIn() && checkIn(),
    checkedIn() && checkedIn() !== READY && el("p.loud", {}, `△ Came with ${checkedIn()}. Stop on pain, and see a licensed clinician before going on.`),
    chips.length > 0 && el(".chips", {}, chips),
    block && block.shots === 0 && checkedIn() && el(".row.tight", {}, button("care:pain", "Pain or fatigue", () => ui({ ask: { what: "block-pain" } }), { kind: "alarm" }),
      model.ui.ask?.what === "block-pain" && ["fatigue", ...HURTS].map((w) => button(`care:${w}`, w, async () => { if (await painOfBlock(w)) ui({ ask: null }); }))),
  ];
}

const loadWords = (load) => `${load.full}${load.limit === null ? "" : ` of ${load.limit}`} full-effort swings`;
const rest = (s) => (s >= 90 ? `${Math.ceil(s / 60)} min rest` : `${s} s rest`);

function checkIn() {
  const say = (words) => enterOfSession("checked_in", words).then((done) => done && ui({ ask: null }));
  const asked = model.ui.ask?.what === "hurts";
  return el(".checkin", { role: "group", "aria-label": "Check-in" },
    el("p", {}, el("b", {}, "Before the first shot: "), "warmed up? Any pain?"),
    el(".row.tight", {},
      button("checkin:ready", "Warmed up, no pain", () => say(READY), { kind: "strong" }),
      button("checkin:hurts", "Something hurts", () => ui({ ask: asked ? null : { what: "hurts" } }), { kind: "alarm", "aria-expanded": String(asked) })),
    asked && el(".row.tight", {}, HURTS.map((w) => button(`checkin:${w}`, w, () => say(w)))),
    asked && el("p.loud", {}, "△ Stop on pain, and see a licensed clinician before going on."));
}

/** On the student's page: check-in, load, footing, limits. */
export function carePanel() {
  if (!session() || ["add", "other", "consent"].includes(model.ui.ask?.what)) return null;
  return [limitsCard(), loadCard(), startCard()];
}

function startCard() {
  const said = checkedIn();
  const footing = holds({ session: session() }, "footing");
  const own = async (event) => {
    event.preventDefault();
    const words = (model.ui.drafts.footing ?? "").trim();
    if (words && await enterOfSession("footing", words)) model.ui.drafts.footing = "";
    ui({});
  };
  return el(".card", {},
    el("h2", {}, "Start of the lesson"),
    el("p", {}, said ? `Checked in: ${said}` : "Not checked in yet."),
    said && el(".row", {}, button("checkin:again", "Ask again", () => enterOfSession("checked_in", null))),
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
