// One moment of a take on a stage: the figure, where the club head has been and rested, and the forces
// under the feet. Which moment, and where the camera stands, is decided by who calls.

import { figure, headPoint } from "./body.js";
import { drawFigure, drawFootWords, drawForce, drawPath, drawRest, drawShade } from "./stick.js";

const PATH_S = 0.5;
const PATH_STEP_S = 0.004;
const SMALLEST_WORDS_PX = 14;

/**
 * Draws a take at `time` (device seconds) and gives the shapes that were drawn.
 * @param {object} what
 * @param {import("./take.js").Take} what.take
 * @param {import("./ground.js").Ground} [what.ground] with it forces stand on the feet
 * @param {number[]|null} [what.rest] where the club head rested at address
 * @param {boolean} [what.path] whether the head's way is drawn
 * @param {boolean} [what.feet] whether "lead" and "trail" stand at the feet
 * @param {{shapes: object[], colors: object}|null} [what.shade] another pose behind this one
 */
export function drawTake(stage, time, { take, ground, rest, path = true, feet = true, shade = null }) {
  const shapes = figure(take.poseAt(time), take.handed);
  if (rest) drawRest(stage, rest);
  if (shade) drawShade(stage, shade.shapes, shade.colors);
  if (path) drawPath(stage, take.headPath(time - PATH_S, time, PATH_STEP_S));
  drawFigure(stage, shapes);
  if (feet) drawFootWords(stage, shapes, Math.max(SMALLEST_WORDS_PX, 0.11 * stage.scale));
  if (ground?.weight) drawForces(stage, ground, time);
  return shapes;
}

/** Where the club head rested, or `null`. */
export function restPoint(take, restAt) {
  return headPoint(take.poseAt(restAt));
}

function drawForces(stage, ground, time) {
  for (const side of ["lead", "trail"]) {
    const [center, share] = [ground.center(side, time), ground.force(side, time)];
    if (center && share) drawForce(stage, center, share, side, Math.max(SMALLEST_WORDS_PX, 0.09 * stage.scale));
  }
}
