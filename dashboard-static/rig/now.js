// What each plate reads now: asked of the bay once a second while the page is looked at, and shown with its
// zero, its drift and who stands on it.

import { el, fill } from "../element.js";
import { get } from "../lesson/api.js";
import { LIMITS, judge } from "./limits.js";
import { ago, figure } from "./say.js";
import { cell } from "./streams.js";

const EVERY_MS = 1000;

/** Keeps asking; `bay` gives the bay's id while there is something to ask, else null. */
export class PlatesNow {
  constructor(bay) {
    this.bay = bay;
    this.plates = [];
    this.zeroing = "";
    setInterval(() => this.ask(), EVERY_MS);
  }

  async ask() {
    const bay = this.bay();
    if (!bay || document.hidden) return;
    try {
      const told = await get(`bays/${encodeURIComponent(bay)}/plates`);
      Object.assign(this, { plates: told.plates, zeroing: told.zeroing });
    } catch {
      // The line is cut: the page says so elsewhere, and old figures must not look new.
      this.plates = [];
    }
  }
}

/** Whether a plate reads something now. */
export const speaks = (plate) => plate.force_n !== null;

/** How a plate's zero stands. */
export function zeroState({ zero }) {
  return zero ? judge(zero.drift_n, LIMITS.drift) : "look";
}

export function showNow(plates) {
  const body = document.querySelector("#plates .now tbody");
  fill(body, plates, () => (plates.length ? plates.map(row) : [el("tr", {}, el("td", { colspan: 5 }, "No force plate speaks."))]));
}

function row(plate) {
  const { force_n: force, center, scatter_n: scatter, zero } = plate;
  return el("tr", {},
    el("th", { scope: "row" }, plate.name, el("span.small", {}, `stream ${plate.stream}`)),
    cell({ text: figure(force?.[1] ?? null, 1, force ? "N" : ""), small: force ? `± ${figure(scatter, 1)} N in half a second` : "sends nothing", state: force ? null : "look" }),
    cell({ text: plate.stood_on ? "somebody" : "empty", small: center ? `pressure ${offMiddle(plate)}` : "" }),
    cell({ text: zero ? `${ago(zero.age_s)} ago` : "never zeroed", small: zero ? `${figure(zero.force_n[1], 1)} N, ${figure(Math.hypot(...zero.moment_nm), 2)} N m taken off` : "step off it for half a second", state: zero ? null : "look" }),
    cell({ text: figure(zero?.drift_n ?? null, 1, zero ? "N" : ""), state: zero ? zeroState(plate) : null }));
}

/** How far the center of pressure is from the middle of the plate, meters; null without. */
export function fromMiddle({ center, corners }) {
  if (!center || !corners) return null;
  const middle = [0, 2].map((axis) => corners.reduce((sum, c) => sum + c[axis], 0) / corners.length);
  return Math.hypot(center[0] - middle[0], center[2] - middle[1]);
}

const offMiddle = (plate) => {
  const off = fromMiddle(plate);
  return off === null ? "" : `${figure(100 * off)} cm from its middle`;
};
