// The live pose as points with names: face on, and from above with plates and feet. Parallel views, so
// that distances read alike everywhere. Whose pose it is comes from memory.js; plates from plates.js.

import { footprints } from "./plates.js";
import { landmark } from "./say.js";

const LINES = [
  ["left_asis", "right_asis", "right_psis", "left_psis", "left_asis"], ["c7", "t8"], ["sternal_notch", "xiphoid"], ["left_acromion", "right_acromion"],
  ["left_acromion", "left_elbow", "left_radial_styloid"], ["right_acromion", "right_elbow", "right_radial_styloid"], ["head_left", "head_front", "head_right"],
  ["left_asis", "left_knee", "left_ankle", "left_heel", "left_toe"], ["right_asis", "right_knee", "right_ankle", "right_heel", "right_toe"],
  ["club_butt", "club_shaft_low", "club_head_heel", "club_head_toe", "club_head_back", "club_head_heel"],
];
const TALL_M = 2.25;
const STEP_PX = 14;
/** Narrower than this only hidden and bad markers are named. */
const NAMES_FROM_PX = 440;

/** One view on a canvas. */
export class Picture {
  /** @param {"front"|"above"} kind */
  constructor(figure, kind) {
    this.canvas = figure.querySelector("canvas");
    this.caption = figure.querySelector(".way");
    this.kind = kind;
    this.middle = null;
  }

  /** Draws the pose that `memory` holds; `bad` are landmarks that were bad in the last swing. */
  draw(memory, bad, plates) {
    const c = prepared(this.canvas);
    const look = getComputedStyle(this.canvas);
    const color = (name) => look.getPropertyValue(name).trim();
    const facing = memory.facing();
    // Which way the target is shows by the way somebody faces: until that is seen, neither is said.
    const way = { left: "← target", right: "target →" }[facing] ?? "somebody, facing not seen";
    this.caption.textContent = memory.somebody() ? way : "nobody in view";
    this.side = facing === "left" ? -1 : 1;
    this.fit(memory, plates);
    if (this.kind === "above") this.floor(c, color, memory, plates);
    c.font = `12px ${look.fontFamily}`;
    this.lines(c, color, memory);
    const labels = this.points(c, color, memory, bad);
    if (this.kind === "front") this.names(c, color, labels);
  }

  place([x, y, z]) {
    const up = this.kind === "above" ? -z * this.side : y;
    return [this.origin[0] + x * this.side * this.scale, this.origin[1] - up * this.scale];
  }

  fit(memory, plates) {
    const { clientWidth: w, clientHeight: h } = this.canvas;
    const pelvis = ["left_asis", "right_asis"].map((name) => memory.lastOf(name)?.point).find(Boolean) ?? [0, 1, 0];
    // Still unless the golfer walks: a picture that swims cannot be read.
    if (!this.middle || Math.hypot(pelvis[0] - this.middle[0], pelvis[2] - this.middle[2]) > 0.4) this.middle = pelvis;
    const corners = plates.flatMap((p) => p.corners ?? []);
    if (this.kind === "front") {
      this.scale = Math.min(h / TALL_M, w / 2.4);
      this.origin = [w / 2 - this.middle[0] * this.side * this.scale, h - 0.06 * this.scale];
      return;
    }
    const around = [...corners, [this.middle[0] - 0.6, 0, this.middle[2] - 0.4 * this.side], [this.middle[0] + 0.6, 0, this.middle[2] + 0.9 * this.side]];
    const [xs, zs] = [around.map((p) => p[0]), around.map((p) => p[2])];
    const [left, right, near, far] = [Math.min(...xs), Math.max(...xs), Math.min(...zs), Math.max(...zs)];
    this.scale = Math.min(w / (right - left + 0.2), h / (far - near + 0.2));
    this.origin = [w / 2 - ((left + right) / 2) * this.side * this.scale, h / 2 - ((near + far) / 2) * this.side * this.scale];
  }

  lines(c, color, memory) {
    c.strokeStyle = color("--line");
    c.lineWidth = 2;
    for (const chain of LINES) {
      c.beginPath();
      let pen = false;
      for (const name of chain) {
        const point = memory.at(name);
        if (point) c[pen ? "lineTo" : "moveTo"](...this.place(point));
        pen = Boolean(point);
      }
      c.stroke();
    }
  }

  // Seen: a disc; bad in the last swing: a ring around it; hidden: a cross where it was seen last.
  points(c, color, memory, bad) {
    const labels = [];
    for (const name of memory.landmarks) {
      const point = !memory.isHidden(name);
      const last = memory.lastOf(name);
      if (!last) continue;
      const [x, y] = this.place(last.point);
      c.beginPath();
      if (point) {
        c.arc(x, y, 3.5, 0, 2 * Math.PI);
        c.fillStyle = color("--ink");
        c.fill();
      } else {
        for (const [dx, dy] of [[5, 5], [5, -5]]) {
          c.moveTo(x - dx, y - dy);
          c.lineTo(x + dx, y + dy);
        }
        c.lineWidth = 3;
        c.strokeStyle = color("--alarm");
        c.stroke();
      }
      if (bad.has(name)) {
        c.beginPath();
        c.arc(x, y, 7.5, 0, 2 * Math.PI);
        c.lineWidth = 1.5;
        c.strokeStyle = color("--ink");
        c.stroke();
      }
      labels.push({ x, y, hidden: !point, bad: bad.has(name), text: landmark(name) + (point ? "" : ", hidden") });
    }
    return labels;
  }

  // Names stand in two columns beside the figure, in the order of height, each with a thin leader.
  names(c, color, labels) {
    const { clientWidth: w, clientHeight: h } = this.canvas;
    const said = w < NAMES_FROM_PX ? labels.filter((l) => l.hidden || l.bad) : labels;
    const middle = labels.reduce((sum, l) => sum + l.x, 0) / (labels.length || 1);
    for (const [side, align, x] of [[said.filter((l) => l.x <= middle), "left", 4], [said.filter((l) => l.x > middle), "right", w - 4]]) {
      let next = 10;
      const sorted = side.sort((p, q) => p.y - q.y);
      sorted.forEach((label, i) => {
        // As near to its point as the ones above and below leave room.
        const y = Math.min(Math.max(label.y, next), h - 8 - (sorted.length - 1 - i) * STEP_PX);
        next = y + STEP_PX;
        const width = c.measureText(label.text).width + 4;
        c.strokeStyle = color("--edge");
        c.lineWidth = 1;
        c.beginPath();
        c.moveTo(align === "left" ? x + width : x - width, y);
        c.lineTo(label.x, label.y);
        c.stroke();
        c.textAlign = align;
        c.textBaseline = "middle";
        // A halo, so that a name stays legible over the club.
        c.strokeStyle = color("--ground");
        c.lineWidth = 4;
        c.strokeText(label.text, x, y);
        c.fillStyle = color(label.hidden ? "--alarm" : label.bad ? "--ink" : "--dim");
        c.fillText(label.text, x, y);
      });
    }
  }

  floor(c, color, memory, plates) {
    c.textAlign = "center";
    for (const plate of plates.filter((p) => p.corners)) {
      c.beginPath();
      for (const corner of plate.corners) c.lineTo(...this.place(corner));
      c.closePath();
      c.fillStyle = color("--raised");
      c.fill();
      c.strokeStyle = color("--line");
      c.lineWidth = 1.5;
      c.stroke();
      const spots = plate.corners.map((p) => this.place(p));
      c.fillStyle = color("--ink");
      c.font = `13px ${getComputedStyle(this.canvas).fontFamily}`;
      c.textBaseline = "top";
      c.fillText(plate.name, spots.reduce((sum, s) => sum + s[0], 0) / 4, Math.max(...spots.map((s) => s[1])) - 18);
    }
    for (const { heel, tip, side } of footprints(memory)) {
      c.lineCap = "round";
      for (const [stroke, width] of [[color("--line"), 0.095], [color("--chosen"), 0.085]]) {
        c.strokeStyle = stroke;
        c.lineWidth = width * this.scale;
        c.beginPath();
        c.moveTo(...this.place(heel));
        c.lineTo(...this.place(tip));
        c.stroke();
      }
      const [x, y] = this.place(heel);
      c.fillStyle = color("--ink");
      c.textBaseline = "bottom";
      c.fillText(side, x, y - 0.06 * this.scale);
    }
    c.lineCap = "butt";
  }
}

function prepared(canvas) {
  const ratio = window.devicePixelRatio || 1;
  const [w, h] = [Math.round(canvas.clientWidth * ratio), Math.round(canvas.clientHeight * ratio)];
  if (canvas.width !== w || canvas.height !== h) [canvas.width, canvas.height] = [w, h];
  const c = canvas.getContext("2d");
  c.setTransform(ratio, 0, 0, ratio, 0, 0);
  c.clearRect(0, 0, w, h);
  return c;
}
