// Two swings side by side in space: one camera for both, moved by hand or to a preset, one behind the other
// as a shade where asked. Which moment is shown is told by the clock.

import { el } from "../element.js";
import { figure, pelvisPoint } from "../body.js";
import { extent, orbit } from "../camera.js";
import { shadeOf } from "../palette.js";
import { drawTake, restPoint } from "../scene.js";
import { Stage } from "../stick.js";
import { colorsNow } from "../theme.js";
import { add, sub } from "../vector.js";
import { toggle } from "./dom.js";
import { A_STEP, handle } from "./hand.js";

const TURN = Math.PI / 2;
// A little from above, so that plates show their tops.
const LEVEL = 0.16;
const PRESETS = [
  { name: "face on", yaw: 0, pitch: LEVEL },
  { name: "from the target", yaw: TURN, pitch: LEVEL },
  { name: "along the line", yaw: -TURN, pitch: LEVEL },
  { name: "above", yaw: 0, pitch: TURN },
];
const MARGIN_M = 0.07;
const A_PIXEL = 0.008;
const LOWEST = -0.3;
const NEAREST = 4;
// Below this share of its length, the way to the target points into the picture rather than across.
const ACROSS = 0.25;
const SHADE = 0.4;
const FEET_PITCH = 0.5;
const HELD = ["address", "top", "impact"];
const SIDES = ["a", "b"];

export class Stages {
  constructor(root, clock) {
    this.clock = clock;
    this.look(PRESETS[0], false);
    this.shade = true;
    this.shown = {};
    this.panes = Object.fromEntries(SIDES.map((side) => [side, this.pane(side)]));
    this.controls = el(".cameras", { role: "group", "aria-label": "Camera" });
    root.replaceChildren(el(".panes", {}, SIDES.map((side) => this.panes[side].root)), this.controls);
    new ResizeObserver(() => this.fit()).observe(root);
    clock.listen({ moment: () => this.draw() });
    this.say();
  }

  pane(side) {
    const canvas = el("canvas", { tabindex: "0", role: "img", "data-side": side });
    const caption = el("figcaption", {});
    const stage = new Stage(canvas, orbit(0, LEVEL, "right"), colorsNow());
    handle(canvas, { turn: (right, up) => this.move(right, up, side), nearer: (factor, at) => this.nearer(factor, at), home: () => this.look(PRESETS[0]) });
    return { root: el("figure.pane", { "data-side": side }, caption, canvas), canvas, caption, stage };
  }

  /** Takes what was opened on each side; either may be missing. */
  show(shown) {
    Object.assign(this, { shown, reaches: {} });
    for (const side of SIDES) {
      const { root, canvas } = this.panes[side];
      root.hidden = !shown[side];
      if (!shown[side]) continue;
      canvas.setAttribute("aria-label", `${side.toUpperCase()}: ${shown[side].student.name}, ${shown[side].title}, ${shown[side].handed}-handed. Arrow keys move the camera around, + and − nearer and away, 0 back to face on.`);
      canvas.title = "drag to go around; pinch, or the wheel with Ctrl, to come nearer";
    }
    this.say();
    this.fit();
  }

  // The hand that drags sees the scene follow it, also where the golfer faces the other way. Both panes share the camera.
  move(right, up, side) {
    const mirrored = this.shown[side]?.handed === "left" ? -1 : 1;
    const { yaw, pitch } = this.camera;
    this.camera = { ...this.camera, name: "", yaw: yaw + mirrored * right * A_PIXEL, pitch: Math.min(Math.max(pitch + up * A_PIXEL, LOWEST), TURN) };
    this.say();
    this.fit();
  }

  /** Comes nearer by a factor; what is seen `at` a place of a canvas stays there, else its middle. */
  nearer(factor, at) {
    const { clientWidth: w, clientHeight: h } = this.panes[this.shown.a ? "a" : "b"].canvas;
    const { near, shift } = this.camera;
    const now = Math.min(Math.max(near * factor, 1), NEAREST);
    // The picture of all of it always covers the canvas: the golfer cannot get lost.
    const moved = [w, h].map((size, axis) => {
      const fixed = at?.[axis] ?? size / 2;
      return Math.max(Math.min(fixed - ((fixed - shift[axis]) * now) / near, 0), size * (1 - now));
    });
    this.camera = { ...this.camera, near: now, shift: moved };
    this.say();
    this.fit();
  }

  look(preset, shown = true) {
    this.camera = { ...preset, near: 1, shift: [0, 0] };
    if (!shown) return;
    this.say();
    this.fit();
  }

  say() {
    const presets = PRESETS.map((p) => toggle(p.name, this.camera.name === p.name, () => this.look(p)));
    const behind = toggle("A behind B", this.shade && this.fits(), () => {
      this.shade = !this.shade;
      this.say();
      this.draw();
    }, { disabled: !this.fits(), title: this.fits() ? "A as a gray shade behind B, both at the same ball" : "only golfers who swing from the same side are laid over each other" });
    const had = this.controls.contains(document.activeElement) ? [...this.controls.children].indexOf(document.activeElement) : -1;
    const step = (label, words, factor, end) => toggle(label, null, () => this.nearer(factor), { "aria-pressed": null, "aria-label": words, title: words, disabled: this.camera.near === end });
    const steps = [step("−", "farther away", 1 / A_STEP, 1), step("+", "nearer", A_STEP, NEAREST)];
    this.controls.replaceChildren(...presets, ...steps, behind);
    this.controls.children[had]?.focus();
    for (const side of SIDES) if (this.shown[side]) this.panes[side].caption.textContent = this.caption(this.shown[side]);
  }

  caption(shown) {
    const { name, yaw, pitch, near } = this.camera;
    const across = orbit(yaw, pitch, shown.handed).right[0];
    const way = Math.abs(across) < ACROSS ? "" : across > 0 ? "target →" : "← target";
    return [name || "by hand", way, near > 1 && `${near.toFixed(1)}×`].filter(Boolean).join(" · ");
  }

  fits() {
    return Boolean(this.shown.a && this.shown.b && this.shown.a.handed === this.shown.b.handed);
  }

  /** The camera stands so that both golfers are seen all the while, at one scale. */
  fit() {
    const shown = SIDES.filter((side) => this.shown[side]);
    if (shown.length === 0) return;
    this.aim();
    const boxes = shown.map((side) => this.boxOf(side));
    const [bottom, top] = [Math.min(...boxes.map((b) => b.bottom)), Math.max(...boxes.map((b) => b.top))];
    const scales = shown.map((side, i) => {
      const { clientWidth: w, clientHeight: h } = this.panes[side].canvas;
      return Math.min(w / (boxes[i].right - boxes[i].left), h / (top - bottom));
    });
    const { near, shift } = this.camera;
    shown.forEach((side, i) => {
      const { stage } = this.panes[side];
      stage.frame({ ...boxes[i], bottom, top }, Math.min(...scales));
      // Words stay as large as they were.
      stage.wordScale = stage.scale;
      stage.scale *= near;
      stage.offset = stage.offset.map((v, axis) => v * near + shift[axis]);
    });
    this.draw();
  }

  boxOf(side) {
    const points = (this.reaches[side] ??= this.reachOf(side));
    const box = extent(this.panes[side].stage.view, points, MARGIN_M);
    if (this.camera.pitch < FEET_PITCH) box.bottom -= 0.1;
    return box;
  }

  // What is to be seen all the while, worked out once: the camera moves around it.
  reachOf(side) {
    const { take, events, impact } = this.shown[side];
    const [from, to] = [impact + (events.takeaway_start ?? -1.2), impact + (events.finish ?? 0.4)];
    const rest = restPoint(take, impact + (events.address ?? from));
    // The whole body, and the club where it is looked at: its wide arcs between may leave the picture.
    const body = take.allPoints(from, to, (name) => !name.startsWith("club_"));
    const held = HELD.filter((e) => events[e] !== undefined).flatMap((e) => take.pointsAt(impact + events[e]));
    return [...body, ...held, rest].filter(Boolean);
  }

  aim() {
    for (const side of SIDES) {
      const shown = this.shown[side];
      if (!shown) continue;
      const { yaw, pitch } = this.camera;
      const view = orbit(yaw, pitch, shown.handed);
      this.panes[side].stage.view = { ...view, center: standing(shown) };
    }
  }

  /** Draws the moment of the clock. */
  draw() {
    const colors = colorsNow();
    for (const side of SIDES) {
      const shown = this.shown[side];
      if (!shown) continue;
      const { stage } = this.panes[side];
      stage.colors = colors;
      stage.clear();
      const level = Math.abs(this.camera.pitch) < FEET_PITCH;
      drawTake(stage, shown.impact + this.clock.momentOf(side), {
        take: shown.take, ground: level ? shown.ground : null, rest: restPoint(shown.take, shown.impact + (shown.events.address ?? 0)), feet: level,
        shade: side === "b" && this.shade && this.fits() ? this.shadeOfFirst(colors) : null,
      });
    }
  }

  // The first swing where the second stands: both club heads rested at the same ball.
  shadeOfFirst(colors) {
    const { a, b } = this.shown;
    const by = sub(ball(b), ball(a));
    const get = a.take.poseAt(a.impact + this.clock.momentOf("a"));
    const moved = (name) => {
      const at = get(name);
      return at && add(at, [by[0], 0, by[2]]);
    };
    return { shapes: figure(moved, a.handed), colors: shadeOf(colors, SHADE) };
  }
}

const standing = (shown) => pelvisPoint(shown.take.poseAt(shown.impact + (shown.events.address ?? 0))) ?? [0, 0.9, 0];
const ball = (shown) => restPoint(shown.take, shown.impact + (shown.events.address ?? 0)) ?? standing(shown);
