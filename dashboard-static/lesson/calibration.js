// The calibration that shots are measured with: which one goes, a new one from what the bay has just seen or
// is about to see, and what the trial said.

import { act, enterOfStudent } from "./acts.js";
import { get, send } from "./api.js";
import { button, choice, el } from "./dom.js";
import { add, newestFirst } from "./ledger.js";
import { changed, model, student, ui } from "./model.js";
import { count, when } from "./say.js";

const SECONDS = [10, 20, 40];
const USUAL_S = 20;
const TICK_MS = 500;
const HOW = "Put on the markers at the inner side of knees, ankles and elbows. Stand still for two seconds, then swing each leg slowly forward, back and to the side. Take them off again afterwards.";

export function calibrationCard() {
  fetchCalibrations();
  const { trial } = model.ui;
  const going = model.lesson.calibration;
  const seconds = model.ui.drafts.trial ?? USUAL_S;
  const list = model.calibrations.list;
  return el(".card.calibration", {},
    el("h2", {}, "Calibration"),
    el("p", {}, going ? `Shots are measured with calibration ${going.number}, since ${when(going.since_utc_ns)}${going.in_use ? "" : ", not from the next shot on"}.` : "None: joints are placed from each swing's address, with usual widths."),
    el("p.dim", {}, HOW),
    el(".row", {}, el("span.lead-in", {}, "seconds"), choice("trial:seconds", "Seconds", SECONDS.map((s) => [s, String(s)]), seconds, (v) => { model.ui.drafts.trial = v ?? USUAL_S; ui({}); })),
    el(".row", {},
      button("trial:next", `Calibrate from the next ${seconds} s`, () => calibrate("next", seconds), { kind: "strong", disabled: Boolean(trial?.runs) }),
      button("trial:last", `From the last ${seconds} s`, () => calibrate("last", seconds), { disabled: Boolean(trial?.runs) })),
    trial && answer(trial),
    list.length > 0 && el(".row", {}, el("span.lead-in", {}, "goes from the next shot on"),
      choice("trial:use", "Calibration in use", [[0, "each address"], ...list.map((c) => [c.number, [`${c.number}`, el("span.sub", {}, `${when(c.since_utc_ns)}, ${count(c.swings, "shot")}`)]])],
        list.find((c) => c.in_use)?.number ?? 0, (v) => v !== null && enterOfStudent("calibration", v === 0 ? null : v))));
}

function answer(trial) {
  if (trial.runs) {
    const left = Math.max(0, Math.ceil((trial.until - performance.now()) / 1000));
    return el("p.counting", { role: "status" }, el("b", {}, trial.until && left > 0 ? `${left} s: the bay watches` : "Working it out …"));
  }
  return el(`.answer${trial.refused ? ".loud" : ""}`, { role: "status" },
    el("p", {}, el("b", {}, trial.refused ? "△ No calibration" : `● Calibration ${trial.number} goes from the next shot on`)),
    trial.words.map((words) => el("p", {}, words)),
    button("trial:ok", "OK", () => ui({ trial: null })));
}

// The answer waits for the seconds; somebody who left meanwhile is told nothing.
async function calibrate(from, seconds) {
  const id = student().id;
  ui({ trial: { runs: true, until: from === "next" ? performance.now() + 1000 * seconds : 0 } });
  const ticking = setInterval(() => model.ui.trial?.runs && changed(), TICK_MS);
  const here = () => student()?.id === id;
  try {
    const made = await send("POST", `students/${id}/calibrations`, { from, seconds });
    if (here()) ui({ trial: { number: made.number, words: made.words } });
    model.calibrations.of = "";
  } catch (refused) {
    if (here()) ui({ trial: { refused: true, words: [refused.message.replace(/^no calibration: /, "").replaceAll("_", " ")] } });
  } finally {
    clearInterval(ticking);
  }
}

// Asked again whenever one was made, chosen or taken back.
async function fetchCalibrations() {
  const newest = newestFirst().find((e) => e.key === "calibration")?.n ?? 0;
  const of = `${student().id} ${newest} ${model.lesson.calibration?.swings ?? ""}`;
  if (model.calibrations.of === of) return;
  model.calibrations = { ...model.calibrations, of };
  const told = await get(`students/${student().id}/calibrations`).catch(() => null);
  if (!told || model.calibrations.of !== of) return;
  model.calibrations = { of, list: told.calibrations };
  changed();
}
