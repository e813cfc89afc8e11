// Still pictures of one swing for paper: address, top and impact, face on, at one scale.

import { el } from "../element.js";
import { figure } from "../body.js";
import { extent, orbit } from "../camera.js";
import { restPoint } from "../scene.js";
import { drawFigure, drawFootWords, drawRest } from "../stick.js";
import { Paper } from "./paper.js";

const MOMENTS = [["address", "at address"], ["top", "at the top"], ["impact", "at impact"]];
const HEIGHT = 300;
const FACE_ON = [0, 0.16];

/** Pictures of the events that this take has. */
export function stills(take) {
  const known = MOMENTS.filter(([event]) => take.events[event] !== undefined);
  const view = orbit(...FACE_ON, take.handed);
  const rest = restPoint(take, take.events.address ?? take.start);
  const boxes = known.map(([event]) => extent(view, [...take.pointsAt(take.events[event]), rest].filter(Boolean), 0.12));
  const [bottom, top] = [Math.min(...boxes.map((b) => b.bottom)) - 0.1, Math.max(...boxes.map((b) => b.top))];
  const scale = HEIGHT / (top - bottom);
  const target = take.handed === "left" ? "← target" : "target →";
  return known.map(([event, words], i) => {
    const box = { ...boxes[i], bottom, top };
    const paper = new Paper(Math.round((box.right - box.left) * scale), HEIGHT, view, `The golfer ${words}, face on, ${take.handed}-handed`);
    paper.frame(box, scale);
    if (rest) drawRest(paper, rest);
    const shapes = figure(take.poseAt(take.events[event]), take.handed);
    drawFigure(paper, shapes);
    drawFootWords(paper, shapes, 13);
    return el("figure", {}, paper.root, el("figcaption", {}, `${words} · `, el("span.way", {}, target)));
  });
}
