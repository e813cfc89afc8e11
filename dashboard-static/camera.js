// Cameras: where somebody stands who looks at the golfer, and where a point of the bay falls for him. No
// canvas here.

import { add, cross, dot, scale, sub, unit } from "./vector.js";

// Looking a little down, so that a plate's top shows and its rotation reads.
const PITCH = 0.16;
const CAMERA_DISTANCE = 7;

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
