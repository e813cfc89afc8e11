// The drawing of a figure on a 2D canvas: solid shapes lit from the upper left, far ones first. What there
// is to draw comes from body.js, where it falls from camera.js; a whole view of a take is put together in
// scene.js.

import { look } from "./camera.js";
import { lighting, rounding } from "./light.js";
import { DARK, mixed } from "./palette.js";
import { hull, slab } from "./slab.js";
import { along, sub, unit } from "./vector.js";

const HATCH_STEP = 6;
const METRES_A_WEIGHT = 0.5;
const FLOOR_M = 0.75;
const HALO = 4;
const EDGE_PX = 4;
const MOST_HALOS = 400;
// Shades of the club head's way, old to new.
const FRESHNESS = 14;
const LEAST_STEP_PX = 4;

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

  /** The page's typeface; asked once, because asking makes the browser lay the page out. */
  get typeface() {
    this.asked ??= getComputedStyle(this.canvas).fontFamily;
    return this.asked;
  }

  /** The panel's color around a text that is filled next, with the font and the alignment of the context. */
  halo(text, x, y) {
    const c = this.context;
    const ratio = window.devicePixelRatio || 1;
    const key = [text, c.font, c.textAlign, c.textBaseline, this.colors.panel, ratio].join();
    if (halos.size > MOST_HALOS) halos.clear();
    if (!halos.has(key)) halos.set(key, haloOf(c, text, this.colors.panel, ratio));
    const { image, left, top } = halos.get(key);
    c.drawImage(image, x - left, y - top, image.width / ratio, image.height / ratio);
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
  c.lineCap = c.lineJoin = "round";
  let from = null;
  for (let part = 0; part < FRESHNESS; part++) {
    const [first, last] = [part, part + 1].map((n) => Math.round((n / FRESHNESS) * (points.length - 1)));
    if (last <= first) continue;
    const fresh = (part + 1) / FRESHNESS;
    // Mixed with the panel instead of see-through: overlapping ends would show as beads.
    c.strokeStyle = mixed(stage.colors.panel, stage.colors.ink, 0.12 + 0.68 * fresh * fresh);
    c.lineWidth = 1.5 + 0.022 * stage.scale * fresh * fresh;
    c.beginPath();
    from ??= stage.place(points[first]);
    c.moveTo(from.x, from.y);
    for (let i = first + 1; i <= last; i++) {
      const p = stage.place(points[i]);
      // A slow head makes many points at one place.
      if (i < last && Math.abs(p.x - from.x) + Math.abs(p.y - from.y) < LEAST_STEP_PX) continue;
      c.lineTo(p.x, p.y);
      from = p;
    }
    c.stroke();
  }
}

/** The floor around the golfer, light in the middle, and what the feet darken of it. */
export function drawFloor(stage, [x, , z], shapes) {
  const c = stage.context;
  const p = stage.place([x, 0, z]);
  const { image, wide, high } = glow(stage);
  c.drawImage(image, p.x - wide, p.y - high, 2 * wide, 2 * high);
  c.fillStyle = stage.colors.cast;
  for (const { a, b } of shapes.filter((s) => s.foot && s.a)) {
    const [heel, toe] = [stage.place([a[0], 0, a[2]]), stage.place([b[0], 0, b[2]])];
    capsulePath(c, heel, toe, 0.05 * heel.k, 0.05 * toe.k);
    c.fill();
  }
}

// The light of the floor, worked out once for a camera.
function glow(stage) {
  const wide = Math.max(1, FLOOR_M * stage.scale);
  const high = wide * Math.max(0.02, Math.hypot(stage.view.back[1]));
  const key = `${stage.colors.floor} ${wide} ${high}`;
  if (stage.glow?.key === key) return stage.glow;
  const ratio = window.devicePixelRatio || 1;
  const image = document.createElement("canvas");
  // A view that is not shown has no size.
  Object.assign(image, { width: Math.max(1, Math.ceil(2 * wide * ratio)), height: Math.max(1, Math.ceil(2 * high * ratio)) });
  const c = image.getContext("2d");
  c.scale(image.width / (2 * wide), image.height / (2 * wide));
  const fading = c.createRadialGradient(wide, wide, 0, wide, wide, wide);
  fading.addColorStop(0, stage.colors.floor);
  fading.addColorStop(0.35, stage.colors.floor);
  fading.addColorStop(1, `${stage.colors.floor}00`);
  c.fillStyle = fading;
  c.fillRect(0, 0, 2 * wide, 2 * wide);
  stage.glow = { key, image, wide, high };
  return stage.glow;
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
 * with its size in words at its end, `outward` of it (-1 left, 1 right) where the other leg is not.
 */
export function drawForce(stage, foot, share, side, size, outward, taken) {
  const [p, q] = [stage.place(foot), stage.place(along(foot, METRES_A_WEIGHT, share))];
  const reach = Math.hypot(q.x - p.x, q.y - p.y);
  if (reach < 3) return;
  const c = stage.context;
  const [nx, ny] = [(q.y - p.y) / reach, (p.x - q.x) / reach];
  const wide = 0.022 * stage.scale;
  const bar = (more) => polygon(c, [[p, wide + more], [p, -wide - more], [q, -0.3 * wide - more], [q, 0.3 * wide + more]].map(([at, off]) => ({ x: at.x + off * nx, y: at.y + off * ny })));
  bar(0);
  // A dark edge first: the bar stays apart from the leg behind it, which has the same fill.
  c.lineWidth = Math.max(5, 0.02 * stage.scale);
  c.lineJoin = "round";
  c.strokeStyle = stage.colors.ground;
  c.stroke();
  paint(stage, side, { p, q, radius: wide }, bar);
  c.font = `600 ${size}px ${stage.typeface}`;
  c.textAlign = outward < 0 ? "right" : "left";
  c.textBaseline = "middle";
  const words = `${Math.round(100 * share[1])} %`;
  // Inside the picture where the bar is: a camera that comes near leaves little room beside it.
  const { clientWidth: w } = stage.canvas;
  const [least, most] = outward < 0 ? [c.measureText(words).width + EDGE_PX, w] : [0, w - c.measureText(words).width - EDGE_PX];
  const beside = q.x + outward * Math.min(0.1 * stage.scale, 2 * size);
  const x = q.x > 0 && q.x < w ? Math.min(Math.max(beside, least), most) : beside;
  const spot = [words, x, free(c, words, x, q.y, size, taken)];
  stage.halo(...spot);
  c.fillStyle = stage.colors.ink;
  c.fillText(...spot);
}

// How high words stand whose middle belongs at `y`: above whatever words are there already.
function free(c, words, x, y, size, taken) {
  const wide = c.measureText(words).width;
  const left = c.textAlign === "right" ? x - wide : x;
  const over = (t) => t.left < left + wide && left < t.right && t.top < y + size / 2 && y - size / 2 < t.bottom;
  for (let hit = taken.find(over); hit; hit = taken.find(over)) y = hit.top - size / 2;
  taken.push({ left, right: left + wide, top: y - size / 2, bottom: y + size / 2 });
  return y;
}

/** Writes "lead" and "trail" under the feet (where they stand apart). */
export function drawFootWords(stage, shapes, size) {
  writeFootWords(stage, footWords(stage, shapes, size), size);
}

/** Where those words belong, in pixels, before anything is written. */
export function footWords(stage, shapes, size) {
  const c = stage.context;
  c.font = `${size}px ${stage.typeface}`;
  const feet = shapes.filter((s) => s.foot).map((s) => footPlace(stage, s));
  const middle = feet.reduce((sum, foot) => sum + foot.x, 0) / feet.length;
  return feet.map(({ side, x, y, k }) => {
    // Outward from the middle: feet that stand close keep their words apart.
    const wide = c.measureText(side).width;
    const left = x < middle ? x + 0.03 * k - wide : x - 0.03 * k;
    const top = y + 0.06 * k;
    return { side, align: x < middle ? "right" : "left", left, right: left + wide, top, bottom: top + size };
  });
}

/** Writes them. */
export function writeFootWords(stage, words, size) {
  const c = stage.context;
  c.font = `${size}px ${stage.typeface}`;
  c.textBaseline = "top";
  c.fillStyle = stage.colors.ink;
  for (const { side, align, left, right, top } of words) {
    c.textAlign = align;
    // The club may pass there: the words stay legible over it.
    stage.halo(side, align === "right" ? right : left, top);
    c.fillText(side, align === "right" ? right : left, top);
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

function drawCapsule(stage, { a, b, ra, rb, side, front }) {
  const [p, q] = [stage.place(a), stage.place(b)];
  const [rp, rq] = [ra * p.k, rb * q.k];
  paint(stage, side, { p, q, radius: Math.max(rp, rq) }, (more) => capsulePath(stage.context, p, q, Math.max(0.5, rp + more), Math.max(0.5, rq + more)));
  if (front) drawNose(stage, along(a, 0.4, sub(b, a)), front, ra);
}

function drawBall(stage, { center, radius, side }) {
  const c = stage.context;
  const p = stage.place(center);
  if (side !== "ghost") {
    paint(stage, side, { p, q: p, radius: radius * p.k }, (more) => circle(c, p.x, p.y, Math.max(0.5, radius * p.k + more)));
    return;
  }
  circle(c, p.x, p.y, radius * p.k);
  c.setLineDash([5, 6]);
  c.lineWidth = 2;
  c.strokeStyle = stage.colors.dim;
  c.stroke();
  c.setLineDash([]);
}

// A short bar on the front of the head, so that it is seen which way it looks.
function drawNose(stage, center, front, radius) {
  const ahead = unit(sub(front, center));
  // From behind it is hidden by the head.
  if (look(stage.view, front)[2] < look(stage.view, center)[2] - 0.6 * radius) return;
  const [p, q] = [stage.place(along(center, radius * 0.96, ahead)), stage.place(along(center, radius * 1.25, ahead))];
  stage.context.strokeStyle = stage.colors.dim;
  stage.context.lineWidth = 0.035 * p.k;
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

// A plate is a thin slab with rounded edges. Its front is bright with a middle line, its back is dark with
// a bright rim: that tells open from closed even where both look equally narrow.
function drawPlate(stage, plate) {
  const c = stage.context;
  const faces = slab(plate);
  // Neighbors share their corners: each is placed once.
  const placed = new Map();
  const spotOf = (corner) => {
    if (!placed.has(corner)) placed.set(corner, stage.place(corner));
    return placed.get(corner);
  };
  const spots = faces.map((face) => face.corners.map(spotOf));
  polygon(c, hull([...placed.values()]));
  c.lineJoin = "round";
  c.lineWidth = 4;
  c.strokeStyle = stage.colors.ground;
  c.stroke();
  // Shows in the seams between neighbors, and nowhere else.
  c.fillStyle = mixed(stage.colors.ground, stage.colors[plate.tone], 0.6);
  c.fill();
  faces.forEach((face, i) => {
    if (turnsAway(spots[i])) return;
    polygon(c, spots[i]);
    c.fillStyle = faceColor(stage, plate.tone, face);
    c.fill();
    if (face.name === "front") drawMiddle(stage, plate);
    if (face.name !== "back") return;
    // The rim of the back stays bright.
    c.lineWidth = 2;
    c.strokeStyle = stage.colors[plate.tone];
    c.stroke();
  });
}

function faceColor(stage, tone, { name, normal }) {
  const { colors, view } = stage;
  const lit = lighting(colors, view, colors[tone], normal);
  return { front: lit, back: mixed(colors.ground, colors[tone], 0.3), edge: mixed(colors.ground, lit, 0.8) }[name];
}

function drawMiddle(stage, { center, up, front, half }) {
  const middle = along(center, half[2], front);
  stage.context.strokeStyle = stage.colors.ground;
  stage.context.lineWidth = Math.max(2, 0.014 * stage.scale);
  stage.context.lineCap = "round";
  line(stage.context, [stage.place(along(middle, 0.72 * half[1], up)), stage.place(along(middle, -0.72 * half[1], up))]);
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

const halos = new Map();

// Outlined letters cost more than a whole limb: they are drawn once and copied.
function haloOf(context, text, color, ratio) {
  const { font, textAlign, textBaseline } = context;
  const { actualBoundingBoxLeft: l, actualBoundingBoxRight: r, actualBoundingBoxAscent: up, actualBoundingBoxDescent: down } = context.measureText(text);
  const [left, top] = [Math.ceil(l) + HALO, Math.ceil(up) + HALO];
  const image = document.createElement("canvas");
  Object.assign(image, { width: Math.ceil((left + Math.ceil(r) + HALO) * ratio), height: Math.ceil((top + Math.ceil(down) + HALO) * ratio) });
  const c = image.getContext("2d");
  c.scale(ratio, ratio);
  Object.assign(c, { font, textAlign, textBaseline, lineWidth: HALO, lineJoin: "round", strokeStyle: color });
  c.strokeText(text, left, top);
  return { image, left, top };
}

// Fills what `path` gives as a round limb from `p` to `q`. The edge is a larger shape behind it: filling costs a
// fraction of an outline.
function paint(stage, side, limb, path) {
  const c = stage.context;
  const { colors } = stage;
  // Dark between overlapping limbs; the hatched side also needs a light outline to have a shape.
  const half = side === "trail" ? 1 : 0.75;
  path(half);
  c.fillStyle = side === "trail" ? colors.ink : colors.ground;
  c.fill();
  path(-half);
  if (side === "trail") {
    c.fillStyle = stage.hatch;
    c.fill();
  }
  c.fillStyle = rounding(c, colors, { lead: colors.ink, middle: colors.middle, trail: null }[side], limb);
  c.fill();
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
