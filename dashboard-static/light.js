// Light on the figure, from the upper left of whoever looks, so that limbs look round and plates turned.
// For the eye only; which side something belongs to is told by its fill.

import { mixed } from "./palette.js";
import { dot } from "./vector.js";

// Toward the light: right, up, and toward who looks.
const LIGHT = [-0.4, 0.52, 0.75];
// What stays of a color where no light comes.
const LEAST = 0.5;
const FULL = 0.85;

/** A color as it is on a face that looks along `normal` (bay axes). */
export function lighting(colors, view, color, normal) {
  const facing = dot(normal, view.right) * LIGHT[0] + dot(normal, view.up) * LIGHT[1] + dot(normal, view.back) * LIGHT[2];
  const share = Math.min(1, (0.5 + 0.5 * facing) / FULL);
  return mixed(colors.shade, color, LEAST + (1 - LEAST) * share);
}

/**
 * A fill across a limb from `p` to `q` (canvas pixels) that makes it round; without a color it only darkens
 * what is there.
 */
export function rounding(context, colors, color, { p, q, radius }) {
  const [dx, dy] = [q.x - p.x, q.y - p.y];
  const reach = Math.hypot(dx, dy);
  // Across the limb, on the side of the light; a ball is lit from the upper left.
  let [nx, ny] = reach > 1 ? [-dy / reach, dx / reach] : [-0.6, -0.8];
  if (nx * LIGHT[0] - ny * LIGHT[1] < 0) [nx, ny] = [-nx, -ny];
  const [x, y] = [(p.x + q.x) / 2, (p.y + q.y) / 2];
  const fill = context.createLinearGradient(x + nx * radius, y + ny * radius, x - nx * radius, y - ny * radius);
  const stops = color
    ? [[0, color], [0.3, mixed(color, colors.gleam, 0.22)], [0.55, color], [1, mixed(color, colors.shade, 0.5)]]
    : [[0, `${colors.shade}00`], [0.45, `${colors.shade}00`], [1, `${colors.shade}90`]];
  for (const [at, stop] of stops) fill.addColorStop(at, stop);
  return fill;
}
