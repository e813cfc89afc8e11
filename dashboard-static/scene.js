// One moment of a take on a stage: the figure, where the club head has been and rested, and the forces
// under the feet. Which moment, and where the camera stands, is decided by who calls.

import { figure, headPoint, pelvisPoint } from "./body.js";
import { look } from "./camera.js";
import { drawFigure, drawFloor, drawForce, drawPath, drawRest, drawShade, footWords, writeFootWords } from "./stick.js";
import { mix } from "./vector.js";

/** How long the way of the head stands behind it. */
export const PATH_S = 0.5;
export const PATH_STEP_S = 0.004;
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
  const { shapes, stands } = poseOf(take, time);
  if (stands) drawFloor(stage, rest ? mix(stands, rest, 0.4) : stands, shapes);
  if (rest) drawRest(stage, rest);
  if (shade) drawShade(stage, shade.shapes, shade.colors);
  if (path) drawPath(stage, take.headPath(time - PATH_S, time, PATH_STEP_S));
  drawFigure(stage, shapes);
  const size = wordSize(stage);
  const words = feet ? footWords(stage, shapes, size) : [];
  if (ground?.weight) drawForces(stage, ground, time, [...words]);
  // Last: a bar may stand where a foot's word is.
  writeFootWords(stage, words, size);
  return shapes;
}

const wordSize = (stage) => Math.max(SMALLEST_WORDS_PX, 0.11 * (stage.wordScale ?? stage.scale));

// The pose that was drawn last: two views of one moment are of the same shapes.
const poses = new WeakMap();

function poseOf(take, time) {
  const last = poses.get(take);
  if (last?.time === time) return last;
  const pose = take.poseAt(time);
  // The floor keeps its place while the golfer moves on it.
  const stands = last?.stands ?? pelvisPoint(take.poseAt(take.events.address ?? take.start)) ?? pelvisPoint(pose);
  const made = { time, shapes: figure(pose, take.handed), stands };
  poses.set(take, made);
  return made;
}

/** Where the club head rested, or `null`. */
export function restPoint(take, restAt) {
  return headPoint(take.poseAt(restAt));
}

// Each foot's words stand on the side where the other foot is not, and clear of what is written already.
function drawForces(stage, ground, time, taken) {
  const sides = ["lead", "trail"].map((side) => ({ side, center: ground.center(side, time), share: ground.force(side, time) }))
    .filter(({ center, share }) => center && share);
  const across = sides.map(({ center }) => look(stage.view, center)[0]);
  const middle = across.reduce((sum, x) => sum + x, 0) / across.length;
  sides.forEach(({ side, center, share }, i) => {
    const outward = across[i] < middle || (sides.length === 1 && side === "trail") ? -1 : 1;
    drawForce(stage, center, share, side, wordSize(stage), outward, taken);
  });
}
