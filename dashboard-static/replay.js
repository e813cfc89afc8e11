// The replay of the last swing: fetches the poses, keeps the playing clock, and has them drawn in two
// fixed views with a time ruler. Also shows the live pose while there is no swing yet.

import { figure, headPoint, pelvisPoint } from "./body.js";
import { camera, extent } from "./camera.js";
import { FloorPlan } from "./floor.js";
import { ForceLane } from "./forces.js";
import { Ground } from "./ground.js";
import { Pace } from "./pace.js";
import { byId, say } from "./page.js";
import { Ruler } from "./ruler.js";
import { drawTake, restPoint } from "./scene.js";
import { Stage, drawFigure, drawFloor, drawFootWords } from "./stick.js";
import { Take, schedule } from "./take.js";
import { length, sub } from "./vector.js";
import { KINDS, sideWords } from "./words.js";

const CAPTIONS = {
  right: { face_on: "face on · target →", along_line: "along the target line" },
  left: { face_on: "face on · ← target", along_line: "along the target line" },
};
/** Where nobody was seen yet. */
const NOBODY = "The golfer appears here as soon as markers are seen.";
const MARGIN_M = 0.06;
const ROOM_FOR_WORDS_M = 0.12;
const ROOM_FOR_FORCES_M = 0.32;
// More than the hips shift in a swing, less than a change of side or of place.
const LIVE_LEEWAY_M = 0.4;
// Revision of a report right after impact.
const FIRST = 1;
// Numbers that change faster than this are not read.
const TOLD_EVERY_MS = 66;
const REFRESH_FETCH_MS = [0, 500, 1000, 2000, 4000];

/** Owns everything in the replay part of the page. */
export class ReplayPanel {
  constructor() {
    this.calm = matchMedia("(prefers-reduced-motion: reduce)");
    this.ruler = new Ruler(byId("ruler"));
    this.lane = new ForceLane(byId("forces"));
    this.floor = new FloorPlan(byId("floor"));
    this.take = null;
    this.live = this.room = null;
    this.wanted = null;
    this.panes = [];
    this.pace = new Pace();
    this.told = 0;
    this.calm.addEventListener("change", () => this.arrange());
    new ResizeObserver(() => this.fit()).observe(byId("panes"));
    say(byId("replay-title"), NOBODY);
    requestAnimationFrame((now) => this.tick(now));
  }

  /** Shows this swing; fetches its poses when the swing or its revision is new. */
  async show(bay, swing) {
    const key = `${bay}/${swing.id}/${swing.revision}`;
    if (this.wanted === key) return;
    this.wanted = key;
    const address = `api/v1/bays/${encodeURIComponent(bay)}/swings/${encodeURIComponent(swing.id)}/replay`;
    const replay = await fetchPatiently(address, () => this.wanted === key);
    if (this.wanted !== key) return;
    if (replay) this.load(swing, replay);
    else this.miss(swing);
  }

  /** The newest pose; drawn only while no swing was seen. */
  watch(landmarks, points) {
    if (this.take || this.wanted) return;
    const index = new Map(landmarks.map((name, i) => [name, i]));
    this.live = (name) => points[index.get(name)] ?? null;
    // The camera stands still while somebody swings and moves when somebody else stands elsewhere.
    const room = roomFor(this.live);
    if (this.room && length(sub(room[0], this.room[0])) < LIVE_LEEWAY_M) return;
    this.room = room;
    say(byId("replay-title"), "Live");
    this.arrange();
  }

  // Forgetting what was wanted lets the next message try again.
  miss(swing) {
    this.wanted = null;
    const instead = this.take ? ": the replay is of an earlier one" : "";
    say(byId("replay-title"), `${title(swing)} · its replay cannot be loaded${instead}`);
  }

  /** No swing any more (the daemon began anew): an old replay beside no numbers would mislead. */
  clear() {
    if (!this.take && !this.wanted) return;
    this.take = this.wanted = this.live = this.room = null;
    this.panes = [];
    byId("panes").replaceChildren();
    for (const id of ["ruler", "forces", "floor", "legend"]) byId(id).hidden = true;
    say(byId("replay-title"), NOBODY);
  }

  load(swing, replay) {
    const sameSwing = this.take?.id === replay.id;
    this.take = new Take(replay, swing.measurement.events);
    this.live = this.room = null;
    this.plan = schedule(this.take);
    this.rest = restPoint(this.take, this.plan.restAt);
    if (!sameSwing) this.started = performance.now();
    this.swing = swing;
    this.ground = new Ground(replay);
    this.ruler.show(this.take, this.plan);
    this.showGround(swing.revision);
    this.arrange();
  }

  // The first report of a swing is too early for its plates: their places stay, empty, so that nothing jumps.
  showGround(revision) {
    const had = !byId("forces").hidden;
    this.lane.show(this.ground, this.take, this.plan);
    this.floor.show(this.ground, this.take, this.plan);
    const waits = had && revision === FIRST && byId("forces").hidden;
    byId("replay").classList.toggle("awaiting-ground", waits);
  }

  // Panes: two moving views, or top and impact standing side by side where motion is not wanted.
  arrange() {
    const handed = this.take?.handed ?? handedFromPose(this.live);
    const stills = this.take && this.calm.matches ? stillsOf(this.take) : [{ words: "", time: null }];
    byId("panes").classList.toggle("stills", stills.length > 1);
    this.presence = 1;
    this.panes = ["face_on", "along_line"].flatMap((kind) => stills.map(({ words, time }) => (
      { view: camera(kind, handed), time, words: words + CAPTIONS[handed][kind] })));
    byId("panes").replaceChildren(...this.panes.map(makePane));
    byId("ruler").hidden = !this.take;
    this.ruler.setCalm(this.calm.matches);
    byId("legend").hidden = !this.take && !this.live;
    const sides = sideWords(handed);
    for (const side of ["lead", "trail"]) say(byId("legend").querySelector(`.${side}-word`), sides[side]);
    byId("rest-key").hidden = !this.take;
    if (this.take) say(byId("replay-title"), title(this.swing));
    this.fit();
  }

  fit() {
    if (!this.take && !this.live) return;
    for (const pane of this.panes) {
      pane.view.center = this.center();
      pane.box = extent(pane.view, this.pointsToHold(pane), MARGIN_M);
      pane.box.bottom -= ROOM_FOR_WORDS_M;
      const forces = pane.view.kind === "face_on" && this.ground?.weight;
      if (pane.time !== null) widen(pane.box, forces ? ROOM_FOR_FORCES_M : ROOM_FOR_WORDS_M);
      pane.figure.style.flexGrow = String(pane.box.right - pane.box.left);
    }
    const bottom = Math.min(...this.panes.map((p) => p.box.bottom));
    const top = Math.max(...this.panes.map((p) => p.box.top));
    for (const pane of this.panes) Object.assign(pane.box, { bottom, top });
    const scale = Math.min(...this.panes.map(pixelsPerMetre));
    for (const pane of this.panes) pane.stage.frame(pane.box, scale);
    this.draw(performance.now());
  }

  // Still panes hold one pose each, moving ones the whole swing.
  pointsToHold(pane) {
    if (!this.take) return this.room;
    const points = pane.time === null ? this.take.allPoints(this.plan.from, this.plan.to) : this.take.pointsAt(pane.time);
    return [...points, this.rest].filter(Boolean);
  }

  center() {
    return (this.take ? pelvisPoint(this.take.poseAt(this.plan.from)) : pelvisPoint(this.live)) ?? [0, 0.9, 0];
  }

  tick(now) {
    requestAnimationFrame((next) => this.tick(next));
    if ((this.calm.matches && this.take) || !this.pace.due(now)) return;
    this.draw(now);
  }

  draw(now) {
    if (!this.take && !this.live) return;
    const time = this.take ? this.plan.timeAt(now - this.started) : null;
    for (const pane of this.panes) this.drawPane(pane, pane.time ?? time);
    if (time !== null) this.drawTimes(time, now);
    this.fade(this.take && !this.calm.matches ? this.plan.presenceAt(now - this.started) : 1);
  }

  // The figures leave and come back where a round begins anew.
  fade(presence) {
    if (this.presence === presence) return;
    this.presence = presence;
    for (const { stage } of this.panes) stage.canvas.style.opacity = presence === 1 ? "" : presence.toFixed(2);
  }

  // What goes with the take's clock rather than with a view; stands still where motion is not wanted.
  drawTimes(time, now) {
    const moment = this.calm.matches ? null : time;
    this.lane.draw(moment);
    this.floor.draw(moment);
    // Sizes were read above; from here on the page changes.
    this.ruler.point(time);
    if (moment !== null && now - this.told < TOLD_EVERY_MS) return;
    this.told = now;
    this.lane.tell(moment);
  }

  drawPane({ stage, view }, time) {
    stage.clear();
    const faceOn = view.kind === "face_on";
    const shapes = this.take ? drawTake(stage, time, {
      take: this.take, ground: faceOn ? this.ground : null, rest: this.rest, path: !this.calm.matches, feet: faceOn,
    }) : drawLive(stage, this.live, faceOn);
    const ghost = shapes.some((s) => s.side === "ghost");
    if (byId("ghost-key").hidden === ghost) byId("ghost-key").hidden = !ghost;
  }
}

function drawLive(stage, get, faceOn) {
  const shapes = figure(get, handedFromPose(get));
  const stands = pelvisPoint(get);
  if (stands) drawFloor(stage, stands, shapes);
  drawFigure(stage, shapes);
  if (faceOn) drawFootWords(stage, shapes, Math.max(14, 0.11 * stage.scale));
  return shapes;
}

function makePane(pane) {
  const made = byId("pane-template").content.firstElementChild.cloneNode(true);
  pane.figure = made;
  pane.stage = new Stage(made.querySelector("canvas"), pane.view);
  made.querySelector("canvas").setAttribute("role", "img");
  made.querySelector("canvas").setAttribute("aria-label", `Figure of the golfer, ${pane.words}`);
  made.querySelector("figcaption").textContent = pane.words;
  return made;
}

function stillsOf(take) {
  const known = [["top", "at the top"], ["impact", "at impact"]]
    .map(([event, words]) => ({ words: `${words}\n`, time: take.events[event] }))
    .filter(({ time }) => time !== undefined);
  return known.length ? known : [{ words: "", time: take.start }];
}

// One pose is narrow: the words beside the feet need room too.
function widen(box, by) {
  box.left -= by;
  box.right += by;
}

function pixelsPerMetre({ stage, box }) {
  const { clientWidth, clientHeight } = stage.canvas;
  return Math.min(clientWidth / (box.right - box.left), clientHeight / (box.top - box.bottom));
}

// Before a swing was seen: on which side of the golfer the club is tells the handedness.
function handedFromPose(get) {
  const head = get && headPoint(get);
  const pelvis = get && pelvisPoint(get);
  return head && pelvis && head[2] < pelvis[2] ? "left" : "right";
}

// A standing golfer's room around the hips, so that the live view does not jump.
function roomFor(get) {
  const [x, y, z] = pelvisPoint(get) ?? [0, 0.95, 0];
  const toBall = handedFromPose(get) === "left" ? -1 : 1;
  return [-1.2, 1.2].flatMap((side) => [-0.5, 0.9].map((ahead) => [x + side, y - 0.95, z + toBall * ahead]))
    .concat([[x, y + 0.85, z]]);
}

function title(swing) {
  const { kind, handed } = swing.measurement;
  return `Last ${KINDS[kind] ?? kind} · ${handed}-handed`;
}

async function fetchPatiently(address, stillWanted) {
  for (const pause of REFRESH_FETCH_MS) {
    await new Promise((resolve) => setTimeout(resolve, pause));
    if (!stillWanted()) return null;
    const replay = await fetch(address).then((answer) => (answer.ok ? answer.json() : null)).catch(() => null);
    if (replay) return replay;
  }
  return null;
}
