// The cameras and the drawing of a figure on a 2D canvas. What there is to draw comes from body.js; a
// whole view of a take is put together in scene.js.

import { DARK, mixed } from "./palette.js";
import { add, along, cross, dot, scale, sub, unit } from "./vector.js";

// Looking a little down, so that a plate's top shows and its rotation reads.
const PITCH = 0.16;
const CAMERA_DISTANCE = 7;
const HATCH_STEP = 6;
const METRES_A_WEIGHT = 0.5;

/**
 * A fixed camera. Face on looks at the golfer from across the ball; along the target line stands
 * behind the golfer's trail side; from above, up on the screen is away from the ball. A left-handed
 * golfer faces the other way: the camera changes sides.
 * @param {"face_on"|"along_line"|"from_above"} kind
 * @param {"right"|"left"} handed
 */
export function camera(kind, handed) {
  const s = handed === "left" ? -1 : 1;
  if (kind === "from_above") return { kind, back: [0, 1, 0], right: [s, 0, 0], up: [0, 0, -s], center: [0, 0, 0] };
  const level = kind === "face_on" ? [0, 0, s] : [-1, 0, 0];
  const back = add(scale(level, Math.cos(PITCH)), [0, Math.sin(PITCH), 0]);
  const right = unit(cross([0, 1, 0], level));
  return { kind, back, right, up: cross(back, right), center: [0, 0.9, 0] };
}

/**
 * A camera anywhere around the golfer: `yaw` radians from face on toward the target, `pitch` radians
 * above the horizon. The same two angles show a left-handed golfer as they show a right-handed one.
 */
export function orbit(yaw, pitch, handed) {
  const s = handed === "left" ? -1 : 1;
  const level = [Math.sin(yaw), 0, s * Math.cos(yaw)];
  const back = add(scale(level, Math.cos(pitch)), [0, Math.sin(pitch), 0]);
  const right = cross([0, 1, 0], level);
  return { kind: "orbit", yaw, pitch, back, right, up: cross(back, right), center: [0, 0.9, 0] };
}

/** A point as seen by a camera: [right, up] in metres at the center's distance, and nearness. */
export function look(view, point) {
  const p = sub(point, view.center);
  const near = dot(p, view.back);
  const k = CAMERA_DISTANCE / (CAMERA_DISTANCE - near);
  return [dot(p, view.right) * k, dot(p, view.up) * k, near, k];
}

/** The rectangle in metres that holds all points as a camera sees them. */
export function extent(view, points, margin) {
  const box = { left: Infinity, right: -Infinity, bottom: Infinity, top: -Infinity };
  for (const point of points) {
    const [x, y] = look(view, point);
    box.left = Math.min(box.left, x - margin);
    box.right = Math.max(box.right, x + margin);
    box.bottom = Math.min(box.bottom, y - margin);
    box.top = Math.max(box.top, y + margin);
  }
  return box;
}

/** A canvas with its camera: knows where a point of the bay falls on it, in CSS pixels. */
export class Stage {
  constructor(canvas, view, colors = DARK) {
    this.canvas = canvas;
    this.view = view;
    this.colors = colors;
    this.context = canvas.getContext("2d");
    this.scale = 100;
    this.offset = [0, 0];
  }

  /** Centers `box` (metres, from `extent`) with `pixelsPerMetre`; its bottom stands on the canvas's. */
  frame(box, pixelsPerMetre) {
    this.scale = pixelsPerMetre;
    const { clientWidth: w, clientHeight: h } = this.canvas;
    this.offset = [w / 2 - ((box.left + box.right) / 2) * pixelsPerMetre, h + box.bottom * pixelsPerMetre];
  }

  place(point) {
    const [x, y, near, k] = look(this.view, point);
    return { x: this.offset[0] + x * this.scale, y: this.offset[1] - y * this.scale, near, k: k * this.scale };
  }

  clear() {
    const ratio = window.devicePixelRatio || 1;
    const [w, h] = [Math.round(this.canvas.clientWidth * ratio), Math.round(this.canvas.clientHeight * ratio)];
    if (this.canvas.width !== w || this.canvas.height !== h) [this.canvas.width, this.canvas.height] = [w, h];
    this.context.setTransform(ratio, 0, 0, ratio, 0, 0);
    this.context.clearRect(0, 0, w, h);
    if (this.hatched !== this.colors) [this.hatched, this.hatch] = [this.colors, hatchPattern(this.context, this.colors.ink, this.colors.ground)];
  }
}

/** Draws the shapes of a pose as one shade, to stand behind another. */
export function drawShade(stage, shapes, colors) {
  const own = { colors: stage.colors, hatch: stage.hatch };
  Object.assign(stage, { colors, hatch: colors.ink });
  drawFigure(stage, shapes);
  Object.assign(stage, own);
}

/** Draws the shapes of a pose, far ones first. */
export function drawFigure(stage, shapes) {
  const painters = { capsule: drawCapsule, plate: drawPlate, ball: drawBall, club: drawClub };
  const sorted = shapes.map((shape) => [nearness(stage.view, shape), shape]).sort((p, q) => p[0] - q[0]);
  for (const [, shape] of sorted) painters[shape.kind](stage, shape);
}

/** Draws where the club head has been: newest part strong, older parts fading out. */
export function drawPath(stage, points) {
  const c = stage.context;
  c.lineCap = "round";
  for (let i = 1; i < points.length; i++) {
    const fresh = i / points.length;
    const [a, b] = [stage.place(points[i - 1]), stage.place(points[i])];
    // Mixed with the panel instead of see-through: overlapping ends would show as beads.
    c.strokeStyle = mixed(stage.colors.panel, stage.colors.ink, 0.6 * fresh * fresh);
    c.lineWidth = 1 + 3 * fresh;
    line(c, [a, b]);
  }
}

/** A small ring where the club head rested at address. */
export function drawRest(stage, point) {
  const { x, y, k } = stage.place(point);
  circle(stage.context, x, y, Math.max(3, 0.022 * k));
  stage.context.lineWidth = 2;
  stage.context.strokeStyle = stage.colors.dim;
  stage.context.stroke();
}

/**
 * Draws a force as a tapered bar that rises from `foot`, a point, half a metre for a whole body weight,
 * with its size in words at its end.
 */
export function drawForce(stage, foot, share, side, size) {
  const [p, q] = [stage.place(foot), stage.place(along(foot, METRES_A_WEIGHT, share))];
  const reach = Math.hypot(q.x - p.x, q.y - p.y);
  if (reach < 3) return;
  const c = stage.context;
  const [nx, ny] = [(q.y - p.y) / reach, (p.x - q.x) / reach];
  const wide = 0.022 * stage.scale;
  polygon(c, [[p, wide], [p, -wide], [q, -0.3 * wide], [q, 0.3 * wide]].map(([at, off]) => ({ x: at.x + off * nx, y: at.y + off * ny })));
  // A dark edge first: the bar stays apart from the leg behind it, which has the same fill.
  c.lineWidth = Math.max(7, 0.02 * stage.scale);
  c.lineJoin = "round";
  c.strokeStyle = stage.colors.ground;
  c.stroke();
  paint(stage, side);
  c.font = `600 ${size}px ${getComputedStyle(stage.canvas).fontFamily}`;
  c.textAlign = "center";
  c.textBaseline = "bottom";
  c.lineWidth = 4;
  c.strokeStyle = stage.colors.ground;
  const words = `${Math.round(100 * share[1])} %`;
  c.strokeText(words, q.x, q.y - 3);
  c.fillStyle = stage.colors.ink;
  c.fillText(words, q.x, q.y - 3);
}

/** Writes "lead" and "trail" under the feet (where they stand apart). */
export function drawFootWords(stage, shapes, size) {
  const c = stage.context;
  c.font = `${size}px ${getComputedStyle(stage.canvas).fontFamily}`;
  c.textBaseline = "top";
  c.fillStyle = stage.colors.ink;
  const feet = shapes.filter((s) => s.foot).map((s) => footPlace(stage, s));
  const middle = feet.reduce((sum, foot) => sum + foot.x, 0) / feet.length;
  for (const foot of feet) {
    // Outward from the middle: feet that stand close keep their words apart.
    c.textAlign = foot.x < middle ? "right" : "left";
    const spot = [foot.x + (foot.x < middle ? 0.03 : -0.03) * foot.k, foot.y + 0.06 * foot.k];
    // The club may pass there: the words stay legible over it.
    c.lineWidth = 4;
    c.lineJoin = "round";
    c.strokeStyle = stage.colors.panel;
    c.strokeText(foot.side, ...spot);
    c.fillText(foot.side, ...spot);
  }
}

// Where a foot's word belongs: below its lower end.
function footPlace(stage, { side, center, a, b }) {
  const [heel, toe] = [stage.place(center ?? a), stage.place(center ?? b)];
  return { side, x: heel.x, y: Math.max(heel.y, toe.y), k: heel.k };
}

function nearness(view, shape) {
  const points = { capsule: () => [shape.a, shape.b], plate: () => [shape.center], ball: () => [shape.center], club: () => shape.line };
  const all = points[shape.kind]();
  return (shape.bias ?? 0) + all.reduce((sum, p) => sum + look(view, p)[2], 0) / all.length;
}

function drawCapsule(stage, { a, b, ra, rb, side }) {
  const [p, q] = [stage.place(a), stage.place(b)];
  capsulePath(stage.context, p, q, ra * p.k, rb * q.k);
  paint(stage, side);
}

function drawBall(stage, { center, radius, side, front }) {
  const c = stage.context;
  const { x, y, k } = stage.place(center);
  circle(c, x, y, radius * k);
  if (side === "ghost") {
    c.setLineDash([5, 6]);
    c.lineWidth = 2;
    c.strokeStyle = stage.colors.dim;
    c.stroke();
    c.setLineDash([]);
    return;
  }
  paint(stage, side);
  if (front) drawNose(stage, center, front, radius);
}

// A short bar on the front of the head, so that it is seen which way it looks.
function drawNose(stage, center, front, radius) {
  const ahead = unit(sub(front, center));
  const [p, q] = [stage.place(along(center, radius * 0.9, ahead)), stage.place(along(center, radius * 1.18, ahead))];
  stage.context.strokeStyle = stage.colors.dim;
  stage.context.lineWidth = 0.04 * p.k;
  stage.context.lineCap = "round";
  line(stage.context, [p, q]);
}

function drawClub(stage, { line: points, head }) {
  const c = stage.context;
  c.lineCap = c.lineJoin = "round";
  const places = points.map((p) => stage.place(p));
  const thick = Math.max(3, 0.022 * stage.scale);
  // A dark edge first: the club stays apart from the limbs behind it.
  for (const [color, width] of [[stage.colors.ground, thick + 4], [stage.colors.ink, thick]]) {
    c.strokeStyle = color;
    c.lineWidth = width;
    line(c, places);
    if (head.length < 2) continue;
    c.lineWidth = width + 0.018 * stage.scale;
    polygon(c, head.map((p) => stage.place(p)));
    c.fillStyle = color;
    c.fill();
    c.stroke();
  }
}

// A plate is a thin box. Its front is bright with a middle line, its back is dark and hatched: that
// tells open from closed even where both look equally narrow.
function drawPlate(stage, plate) {
  for (const face of plateFaces(plate)) {
    const spots = face.corners.map((p) => stage.place(p));
    if (turnsAway(spots)) continue;
    polygon(stage.context, spots);
    fillFace(stage, plate.tone, face.name);
    if (face.name === "front") drawMiddle(stage, plate);
  }
}

function fillFace(stage, tone, name) {
  const c = stage.context;
  c.globalAlpha = 1;
  c.fillStyle = stage.colors.ground;
  c.fill();
  c.globalAlpha = { front: 1, back: 0.34, side: 0.6, top: 0.78 }[name];
  c.fillStyle = stage.colors[tone];
  c.fill();
  c.globalAlpha = 1;
  c.lineJoin = "round";
  c.lineWidth = 2;
  c.strokeStyle = name === "back" ? stage.colors[tone] : stage.colors.ground;
  c.stroke();
}

function drawMiddle(stage, { center, up, front, half }) {
  const middle = along(center, half[2], front);
  stage.context.strokeStyle = stage.colors.ground;
  stage.context.lineWidth = Math.max(2, 0.014 * stage.scale);
  line(stage.context, [stage.place(along(middle, 0.75 * half[1], up)), stage.place(along(middle, -0.75 * half[1], up))]);
}

function plateFaces(plate) {
  const at = (r, u, f) => plateCorner(plate, r, u, f);
  return [
    { name: "front", corners: [at(-1, 1, 1), at(1, 1, 1), at(1, -1, 1), at(-1, -1, 1)] },
    { name: "back", corners: [at(1, 1, -1), at(-1, 1, -1), at(-1, -1, -1), at(1, -1, -1)] },
    { name: "side", corners: [at(1, 1, 1), at(1, 1, -1), at(1, -1, -1), at(1, -1, 1)] },
    { name: "side", corners: [at(-1, 1, -1), at(-1, 1, 1), at(-1, -1, 1), at(-1, -1, -1)] },
    { name: "top", corners: [at(-1, 1, -1), at(1, 1, -1), at(1, 1, 1), at(-1, 1, 1)] },
    { name: "top", corners: [at(-1, -1, 1), at(1, -1, 1), at(1, -1, -1), at(-1, -1, -1)] },
  ];
}

function plateCorner({ center, right, up, front, half, taper }, r, u, f) {
  const width = half[0] * (u > 0 ? 1 : taper);
  return along(along(along(center, r * width, right), u * half[1], up), f * half[2], front);
}

// Corners go around a face so that, seen from outside, its signed area on screen has one sign.
function turnsAway(spots) {
  let twice = 0;
  spots.forEach((p, i) => {
    const q = spots[(i + 1) % spots.length];
    twice += p.x * q.y - q.x * p.y;
  });
  return twice > 0;
}

function paint(stage, side) {
  const c = stage.context;
  c.fillStyle = { lead: stage.colors.ink, trail: stage.hatch, middle: stage.colors.middle }[side];
  c.fill();
  // Dark edge between overlapping limbs; the hatched side also needs a light outline to have a shape.
  c.lineWidth = side === "trail" ? 2 : 1.5;
  c.strokeStyle = side === "trail" ? stage.colors.ink : stage.colors.ground;
  c.stroke();
}

function hatchPattern(context, ink, ground) {
  const ratio = window.devicePixelRatio || 1;
  const tile = document.createElement("canvas");
  const size = Math.round(HATCH_STEP * ratio);
  tile.width = tile.height = size;
  const t = tile.getContext("2d");
  t.fillStyle = ground;
  t.fillRect(0, 0, size, size);
  t.strokeStyle = ink;
  t.lineWidth = size * 0.3;
  // Three parallel strokes: the corners of the tile meet without a break.
  for (const shift of [-size, 0, size]) line(t, [{ x: shift - 1, y: size + 1 }, { x: shift + size + 1, y: -1 }]);
  const pattern = context.createPattern(tile, "repeat");
  pattern.setTransform(new DOMMatrix().scale(1 / ratio));
  return pattern;
}

function capsulePath(c, p, q, rp, rq) {
  const distance = Math.hypot(q.x - p.x, q.y - p.y);
  if (distance <= Math.abs(rp - rq)) {
    const big = rp > rq ? p : q;
    circle(c, big.x, big.y, Math.max(rp, rq));
    return;
  }
  const heading = Math.atan2(q.y - p.y, q.x - p.x);
  const spread = Math.acos((rp - rq) / distance);
  c.beginPath();
  c.arc(p.x, p.y, rp, heading + spread, heading - spread + 2 * Math.PI);
  c.arc(q.x, q.y, rq, heading - spread, heading + spread);
  c.closePath();
}

function circle(c, x, y, radius) {
  c.beginPath();
  c.arc(x, y, radius, 0, 2 * Math.PI);
}

function polygon(c, spots) {
  c.beginPath();
  spots.forEach((p) => c.lineTo(p.x, p.y));
  c.closePath();
}

function line(c, spots) {
  c.beginPath();
  spots.forEach((p) => c.lineTo(p.x, p.y));
  c.stroke();
}
