// Force plates on the Rig page: which foot is on which plate (now, by the feet's markers), what each bore
// in the last swing, how plates and motion agree, and what the bay finds wrong.

import { el, fill } from "../element.js";
import { findingsOf, metric } from "./checks.js";
import { LIMITS, judge } from "./limits.js";
import { figure } from "./say.js";
import { cell } from "./streams.js";

/** The tip of the toes lies beyond the toe marker by this share of the way from the heel. */
const TOE_TIP = 1.3;
/** Time before the takeaway whose mean stands for address, seconds. */
const STILL_S = 0.2;

/** Both feet on the floor as the live markers show them, lead and trail by the way the golfer faces. */
export function footprints(memory) {
  const facing = memory.facing();
  if (!facing) return [];
  return ["left", "right"].flatMap((anatomical) => {
    const [heel, toe] = [memory.at(`${anatomical}_heel`), memory.at(`${anatomical}_toe`)];
    if (!heel || !toe) return [];
    const tip = heel.map((v, axis) => v + TOE_TIP * (toe[axis] - v));
    return [{ heel, tip, side: (anatomical === "left") === (facing === "right") ? "lead" : "trail" }];
  });
}

/** What the plates of a replay bore: at rest before the takeaway, and at most until impact; newtons. */
export function loads(replay, events) {
  const ground = replay?.ground;
  if (!ground) return null;
  const at = (time) => Math.round((time - replay.start_s) * replay.rate_hz);
  const start = at(events.takeaway_start?.time_s ?? replay.start_s + STILL_S);
  const end = at(events.impact?.time_s ?? Infinity);
  const still = Math.max(0, start - Math.round(STILL_S * replay.rate_hz));
  return ground.plates.map((plate) => {
    const vertical = (from, to) => plate.forces.slice(from, to).filter(Boolean).map((f) => f[1]);
    const rest = vertical(still, start);
    const swing = vertical(start, end);
    return {
      name: plate.name, foot: plate.foot, corners: plate.corners, reason: plate.reason ?? null, weight: ground.body_weight_n,
      rest: rest.length ? rest.reduce((a, b) => a + b) / rest.length : null, most: swing.length ? Math.max(...swing) : null,
    };
  });
}

export function showPlates(view, memory) {
  const root = document.getElementById("plates");
  const plates = view.plates ?? [];
  const feet = footprints(memory);
  const rows = plates.map((p) => [p, feet.filter((f) => stands(p, f)).map((f) => f.side)]);
  const noPlates = view.plates ? "No force plate told of the last swing." : "Plates appear with the first swing.";
  fill(root.querySelector(".loads tbody"), rows, () => (rows.length ? [...rows.map(plateRow), sumRow(plates)] : [el("tr", {}, el("td", { colspan: 5 }, noPlates))]));
  const agree = agreement(view);
  fill(root.querySelector(".agree tbody"), agree, () => agree.map(([name, what, limit]) => el("tr", {}, el("th", { scope: "row" }, name), cell(what), el("td", {}, limit))));
  const audit = findingsOf(view, "motion").map((f) => f.text);
  const lines = audit.length ? audit : [view.swing ? "Nothing in the last swing speaks for a reversed axis, exchanged or late plates, a wrong gain or an offset." : "Plates and motion are compared after the first swing."];
  fill(root.querySelector(".audit"), lines, () => lines.map((text) => el("li", {}, audit.length ? `▲ ${text}` : text)));
  const zero = findingsOf(view, "zero").map((f) => `▲ ${f.text}`);
  fill(root.querySelector(".zero"), zero, () => (zero.length ? zero : [view.zeroing || "No remark. Leave each plate empty for half a second before the student steps on: it is zeroed by itself then."]).map((t) => el("li", {}, t)));
}

function plateRow([plate, now]) {
  const sides = now.length ? now.join(" and ") : "nobody";
  return el("tr", {},
    el("th", { scope: "row" }, plate.name),
    cell({ text: sides, state: now.length > 1 ? "look" : null }),
    cell({ text: plate.foot ?? "no foot alone", small: plate.reason ?? "", state: plate.foot && !plate.reason ? null : "look" }),
    cell(newtons(plate.rest, plate.weight)), cell(newtons(plate.most, plate.weight)));
}

function sumRow(plates) {
  const known = plates.every((p) => p.rest !== null);
  const sum = known ? plates.reduce((total, p) => total + p.rest, 0) : null;
  return el("tr", {}, el("th", { scope: "row" }, "together"), el("td"), el("td"), cell(newtons(sum, plates[0].weight)), el("td"));
}

const newtons = (value, weight) => ({ text: figure(value, 0, value === null ? "" : "N"), small: value !== null && weight ? `${figure((100 * value) / weight)} % of body weight` : "" });

function agreement(view) {
  const [left, lag] = [metric(view, "force_residual"), metric(view, "force_marker_lag")];
  const size = lag.value === null ? null : Math.abs(lag.value);
  const said = ({ value, reason }, unit, state) => ({ text: figure(value, 1, value === null ? "" : unit), small: value === null ? reason : "", state: value === null ? null : state });
  return [
    ["Left over between plates and motion", said(left, "% of body weight", judge(left.value, LIMITS.force)), `${LIMITS.force.fine} %`],
    ["Plates late against the markers", said(lag, "ms", judge(size, LIMITS.lag)), `± ${LIMITS.lag.fine} ms`],
  ];
}

// A foot stands on the plate whose surface holds its middle.
function stands({ corners }, { heel, tip }) {
  if (!corners) return false;
  const [x, z] = [(heel[0] + tip[0]) / 2, (heel[2] + tip[2]) / 2];
  const turns = corners.map(([ax, , az], i) => {
    const [bx, , bz] = corners[(i + 1) % corners.length];
    return Math.sign((bx - ax) * (z - az) - (bz - az) * (x - ax));
  });
  return turns.every((t) => t === turns[0]);
}
