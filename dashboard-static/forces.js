// The vertical force under each foot over time, on the time axis of the ruler below it: lead solid,
// trail dashed, the events as lines. What the forces are comes from ground.js.

import { Layer } from "./layer.js";
import { DARK } from "./palette.js";
import { RULER_EVENTS } from "./words.js";

const SIDES = ["lead", "trail"];
const DASH = { lead: [], trail: [10, 7] };
const STEP = 0.5;

/** One lane in `root`, a figure with a canvas and a caption. */
export class ForceLane {
  constructor(root) {
    this.root = root;
    this.canvas = root.querySelector("canvas");
    [this.still, this.shown] = [new Layer(), 0];
    this.said = Object.fromEntries(SIDES.map((side) => [side, root.querySelector(`.${side}-force`)]));
  }

  /** Takes the plates of a take; hidden without any. */
  show(ground, take, plan) {
    Object.assign(this, { ground, take, plan });
    this.shown += 1;
    this.root.hidden = !ground.known;
    if (this.root.hidden) return;
    this.unit = ground.weight ? "%BW" : "N";
    this.factor = ground.weight ? 100 : 1;
    this.runs = Object.fromEntries(SIDES.map((side) => [side, ground.runs(side, plan.from, plan.to)]));
    const highest = Math.max(0, ...SIDES.flatMap((side) => this.runs[side].flat().map(([, up]) => up)));
    const step = ground.weight ? STEP : 500;
    this.ceiling = Math.max(1, Math.ceil((highest + 0.05 * step) / step)) * step;
    this.root.querySelector(".measure").textContent = `vertical force, ${this.unit}`;
  }

  /** Draws everything with the playhead at `time`; `null` for none. */
  draw(time) {
    if (this.root.hidden) return;
    const c = this.clear();
    this.still.put(c, this.shown, (own) => {
      this.grid(own);
      for (const side of SIDES) this.curve(own, side);
    });
    if (time !== null) this.upright(c, time, DARK.ink, 2);
  }

  /** Writes the forces at `time`; apart from drawing, because words make the browser lay the page out. */
  tell(time) {
    if (this.root.hidden) return;
    for (const side of SIDES) this.say(side, time);
  }

  clear() {
    const ratio = window.devicePixelRatio || 1;
    const { clientWidth: w, clientHeight: h } = this.canvas;
    const [width, height] = [Math.round(w * ratio), Math.round(h * ratio)];
    if (this.canvas.width !== width || this.canvas.height !== height) [this.canvas.width, this.canvas.height] = [width, height];
    const c = (this.context ??= this.canvas.getContext("2d"));
    c.setTransform(ratio, 0, 0, ratio, 0, 0);
    c.clearRect(0, 0, w, h);
    return c;
  }

  grid(c) {
    const size = Math.max(12, 0.15 * this.canvas.clientHeight);
    this.typeface ??= getComputedStyle(this.canvas).fontFamily;
    c.font = `${size}px ${this.typeface}`;
    c.fillStyle = DARK.dim;
    c.textBaseline = "bottom";
    const half = this.ceiling > 2 * (this.ground.weight ? STEP : 500) ? 2 : 1;
    for (let up = 0; up < this.ceiling; up += half * (this.ground.weight ? STEP : 500)) {
      c.strokeStyle = DARK.grid;
      c.lineWidth = 1;
      stroke(c, [[0, this.y(up)], [this.canvas.clientWidth, this.y(up)]]);
      c.fillText(`${Math.round(up * this.factor)}`, 2, this.y(up));
    }
    for (const event of RULER_EVENTS) {
      const at = this.take.events[event];
      if (at !== undefined) this.upright(c, at, DARK.dim, 1);
    }
  }

  curve(c, side) {
    c.setLineDash(DASH[side]);
    c.strokeStyle = DARK.ink;
    c.lineWidth = side === "lead" ? 3.5 : 3;
    c.lineJoin = "round";
    for (const run of this.runs[side]) stroke(c, run.map(([time, up]) => [this.x(time), this.y(up)]));
    c.setLineDash([]);
  }

  upright(c, time, color, width) {
    c.strokeStyle = color;
    c.lineWidth = width;
    stroke(c, [[this.x(time), 0], [this.x(time), this.canvas.clientHeight]]);
  }

  // The figures stand still where motion is not wanted: no playhead, no number.
  say(side, time) {
    const node = this.said[side];
    const up = time === null ? null : this.ground.force(side, time)?.[1];
    const reason = this.ground.feet[side] && this.runs[side].length ? "" : `not measured: ${this.ground.reason(side)}`;
    const text = reason || (up == null ? "" : `${Math.round(up * this.factor)} ${this.ground.weight ? "%" : "N"}`);
    if (node.textContent !== text) node.textContent = text;
  }

  x(time) {
    return (this.canvas.clientWidth * (time - this.plan.from)) / (this.plan.to - this.plan.from);
  }

  y(up) {
    return this.canvas.clientHeight * (1 - 0.94 * (up / this.ceiling)) - 2;
  }
}

function stroke(c, spots) {
  c.beginPath();
  spots.forEach(([x, y]) => c.lineTo(x, y));
  c.stroke();
}
