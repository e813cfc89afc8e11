// The floor from above, as somebody sees it who stands across the ball: plates, feet, and where the
// pressure is: under each foot a disc that grows with the load, between them the common center as a
// diamond with its path. What there is comes from ground.js and take.js.

import { camera, look } from "./camera.js";
import { Layer } from "./layer.js";
import { DARK } from "./palette.js";
import { Stage } from "./stick.js";

const SIDES = ["lead", "trail"];
const MARGIN_M = 0.05;
const SOLE_M = 0.045;
const TOE_TIP = 1.3;
const PATH_STEP_S = 0.01;

/** The floor plan in `root`, a figure with a canvas. */
export class FloorPlan {
  constructor(root, colors = DARK) {
    this.colors = colors;
    this.root = root;
    this.canvas = root.querySelector("canvas");
    [this.still, this.shown] = [new Layer(), 0];
  }

  /** Takes the plates of a take; hidden without any place to draw. */
  show(ground, take, plan) {
    Object.assign(this, { ground, take, plan });
    this.shown += 1;
    this.fitted = "";
    this.plates = ground.plates.filter((p) => p.corners);
    this.root.hidden = !ground.known || this.plates.length === 0;
    if (this.root.hidden) return;
    this.soles = solesOf(take.poseAt(plan.restAt), take.handed);
    this.stage = new Stage(this.canvas, camera("from_above", take.handed), this.colors);
    this.stage.view.center = this.plates[0].corners[0];
    this.way = this.wayOf();
  }

  // The common center over the swing, every few milliseconds.
  wayOf() {
    const way = [];
    for (let t = this.take.events.takeaway_start ?? this.plan.from; t <= this.plan.to; t += PATH_STEP_S) {
      const center = this.ground.common(t);
      if (center) way.push([t, center]);
    }
    return way;
  }

  /** Draws the floor at `time`; `null` for the whole way without a moment. */
  draw(time) {
    if (this.root.hidden) return;
    this.fit();
    this.stage.colors = this.colors;
    this.stage.clear();
    const { context, colors } = this.stage;
    this.still.put(context, `${this.shown} ${colors.sole}`, (own) => {
      this.stage.context = own;
      for (const plate of this.plates) outline(this.stage, plate.corners);
      for (const sole of Object.values(this.soles)) drawSole(this.stage, sole);
      this.stage.context = context;
    });
    this.path(time ?? this.take.events.impact ?? this.plan.to);
    if (time === null) return;
    for (const side of SIDES) this.disc(side, time);
    this.diamond(time);
  }

  // Places change with the size of the canvas only.
  fit() {
    const { clientWidth, clientHeight } = this.canvas;
    const now = `${clientWidth} ${clientHeight}`;
    if (this.fitted === now) return;
    this.fitted = now;
    const points = this.plates.flatMap((p) => p.corners).concat(Object.values(this.soles).flat());
    const spots = points.map((p) => look(this.stage.view, p));
    const [xs, ys] = [0, 1].map((i) => spots.map((s) => s[i]));
    const box = { left: Math.min(...xs) - MARGIN_M, right: Math.max(...xs) + MARGIN_M, bottom: Math.min(...ys) - MARGIN_M, top: Math.max(...ys) + MARGIN_M };
    const { clientWidth: w, clientHeight: h } = this.canvas;
    const scale = Math.min(w / (box.right - box.left), h / (box.top - box.bottom));
    this.stage.frame(box, scale);
    this.stage.offset[1] -= (h - scale * (box.top - box.bottom)) / 2;
    this.places = this.way.map(([time, center]) => [time, ...this.spot(center)]);
  }

  path(to) {
    const c = this.stage.context;
    c.strokeStyle = this.stage.colors.dim;
    c.lineWidth = 2;
    c.lineJoin = "round";
    c.beginPath();
    for (const [time, x, y] of this.places) {
      if (time > to) break;
      c.lineTo(x, y);
    }
    c.stroke();
  }

  disc(side, time) {
    const [center, force] = [this.ground.center(side, time), this.ground.force(side, time)];
    if (!center || !force) return;
    const c = this.stage.context;
    const share = this.ground.weight ? force[1] : force[1] / 800;
    c.beginPath();
    c.arc(...this.spot(center), this.stage.scale * 0.06 * Math.sqrt(Math.max(share, 0)), 0, 2 * Math.PI);
    c.fillStyle = side === "lead" ? this.stage.colors.ink : this.stage.hatch;
    c.fill();
    c.lineWidth = 2;
    c.strokeStyle = side === "lead" ? this.stage.colors.ground : this.stage.colors.ink;
    c.stroke();
  }

  diamond(time) {
    const center = this.ground.common(time);
    if (!center) return;
    const [x, y] = this.spot(center);
    const size = Math.max(6, 0.026 * this.stage.scale);
    const c = this.stage.context;
    c.beginPath();
    for (const [dx, dy] of [[size, 0], [0, size], [-size, 0], [0, -size]]) c.lineTo(x + dx, y + dy);
    c.closePath();
    c.fillStyle = this.stage.colors.ground;
    c.fill();
    c.lineWidth = 2.5;
    c.strokeStyle = this.stage.colors.ink;
    c.stroke();
  }

  spot(point) {
    const { x, y } = this.stage.place(point);
    return [x, y];
  }
}

// Heel, tip of the toes and the side's name; a foot without markers is left out.
function solesOf(get, handed) {
  const soles = {};
  for (const anatomical of ["left", "right"]) {
    const [heel, toe] = [get(`${anatomical}_heel`), get(`${anatomical}_toe`)];
    const side = (anatomical === "left") === (handed === "right") ? "lead" : "trail";
    if (heel && toe) soles[side] = [heel, heel.map((v, axis) => v + TOE_TIP * (toe[axis] - v))];
  }
  return soles;
}

function outline(stage, corners) {
  const c = stage.context;
  c.beginPath();
  for (const corner of corners) c.lineTo(stage.place(corner).x, stage.place(corner).y);
  c.closePath();
  c.lineWidth = 1.5;
  c.strokeStyle = stage.colors.edge;
  c.stroke();
}

function drawSole(stage, [heel, tip]) {
  const c = stage.context;
  const [a, b] = [stage.place(heel), stage.place(tip)];
  c.lineCap = "round";
  for (const [color, width] of [[stage.colors.edge, 2 * SOLE_M * stage.scale + 3], [stage.colors.sole, 2 * SOLE_M * stage.scale]]) {
    c.strokeStyle = color;
    c.lineWidth = width;
    c.beginPath();
    c.moveTo(a.x, a.y);
    c.lineTo(b.x, b.y);
    c.stroke();
  }
}
