// Vectors as arrays [x, y, z]. Only what figures and cameras need.

export const add = (a, b) => [a[0] + b[0], a[1] + b[1], a[2] + b[2]];
export const sub = (a, b) => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
export const scale = (a, k) => [a[0] * k, a[1] * k, a[2] * k];
export const along = (a, k, b) => add(a, scale(b, k));
export const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
export const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
export const length = (a) => Math.hypot(...a);
export const mix = (a, b, share) => add(scale(a, 1 - share), scale(b, share));
export const unit = (a) => scale(a, 1 / length(a));

/** Mean of the points; `null` when one of them is missing. */
export function mean(...points) {
  if (points.some((p) => !p)) return null;
  return scale(points.reduce(add), 1 / points.length);
}
