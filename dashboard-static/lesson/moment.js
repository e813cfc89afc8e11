// One moment of a shot that was hit: the golfer as he stood then, from both sides, and the curve of what is
// looked at with the moment on it. A tap on the curve or on an event's name chooses the moment. Used where a
// leak is shown and where a note is written; what is chosen is kept by whoever asks.

import { camera, extent } from "../camera.js";
import { DARK, LIGHT } from "../palette.js";
import { PATH_S, PATH_STEP_S, drawTake, restPoint } from "../scene.js";
import { LEFT, RIGHT, drawLane } from "../shelf/lane.js";
import { Stage } from "../stick.js";
import { Take } from "../take.js";
import { units } from "../units.js";
import { get } from "./api.js";
import { choice, el } from "./dom.js";
import { changed } from "./model.js";
import { digits, label, metricName } from "./say.js";
import { eventName } from "../words.js";

const EVENTS = ["address", "takeaway_end", "top", "shaft_level_down", "impact", "finish"];
const KEPT = 12;
const MARGIN_M = 0.09;
const BEFORE_S = 0.1;
// Signals of quantities that are made of a whole curve.
const SIGNALS = [
  [/^knee_\w+\.(lead|trail)/, "knee_flexion.$1"], [/^rotation_\w+\.(pelvis|thorax|shoulder_line)/, "$1_rotation"],
  [/^inclination_change/, "thorax_inclination"], [/^separation/, "separation"], [/^hinge/, "hinge"],
  [/^arm_ahead/, "angular_speed.lead_arm"], [/^(angular_speed|angular_acceleration)_peak(_time)?\.(\w+)/, "angular_speed.$3"],
  [/^vertical_(?!share)\w+\.(lead|trail)/, "vertical_force.$1"], [/^vertical_share_lead|^cop_/, "cop_lead_share"],
  [/^mass_centre_drop/, "mass_centre_rise"], [/^(head|grip)_speed/, "$1_speed"], [/^pelvis_shift_range/, "pelvis_shift"],
];
const dark = matchMedia("(prefers-color-scheme: dark)");
const shots = new Map();
const shotOf = new Map();

dark.addEventListener("change", changed);

/** Which curve shows a metric: the identifier of a signal. */
export function signalOf(metric) {
  const base = metric.split("@")[0];
  const rule = SIGNALS.find(([pattern]) => pattern.test(base));
  return rule ? base.match(rule[0])[0].replace(rule[0], rule[1]) : base;
}

/**
 * The shot of a block whose value lies nearest to `value`: its identifier, or `null` until it is known.
 * Once found it stays, so that the picture does not change with each new shot.
 */
export function shotNearest(block, metric, value) {
  const key = `${block}/${metric}`;
  if (!shotOf.has(key)) {
    shotOf.set(key, null);
    get(`swings?block=${block}&metrics=${encodeURIComponent(metric)}`).then(({ swings }) => {
      const far = (s) => Math.abs(s.values[metric] - value);
      const known = swings.filter((s) => !s.excluded && s.values[metric] != null).sort((a, b) => far(a) - far(b));
      if (known.length) shotOf.set(key, known[0].id);
      else shotOf.delete(key);
      changed();
    }, () => shotOf.delete(key));
  }
  return shotOf.get(key);
}

/**
 * The view of a moment.
 * @param {{swing: string, metric: string, event: string|null, key: string, title?: string}} what
 * @param {(event: string|null) => void} choose an event was tapped
 */
export function momentView({ swing, metric, event, key, title = "" }, choose) {
  const shot = loaded(swing);
  if (!shot) return el(".moment", {}, el("p.dim", {}, "Fetching the shot …"));
  if (shot.failed) return el(".moment", {}, el("p.dim", {}, `Its curves cannot be shown: ${shot.failed}`));
  const known = EVENTS.filter((e) => shot.curves.events[e] !== undefined);
  const at = known.includes(event) ? event : null;
  const signal = shot.curves.signals.find((s) => s.id === signalOf(metric) && s.values.some((v) => v !== null));
  const moment = shot.curves.events[at ?? "impact"] ?? 0;
  return el(".moment", { "data-swing": swing, "data-event": at },
    el("p.head", {}, title),
    el(".pictures", {}, ["face_on", "along_line"].map((kind) => picture(shot, kind, moment, at))),
    signal ? curve(shot, signal, at, { key, choose, known }) : el("p.dim", {}, "No curve shows this number; the figure stands at its moment."),
    choice(key, "Moment", known.map((e) => [e, eventName(e)]), at, choose));
}

function loaded(swing) {
  if (!shots.has(swing)) {
    shots.set(swing, null);
    if (shots.size > KEPT) shots.delete(shots.keys().next().value);
    const part = encodeURIComponent(swing);
    Promise.all([get(`swings/${part}`), get(`swings/${part}/replay`), get(`swings/${part}/curves`)]).then(([kept, replay, curves]) => {
      const take = new Take(replay, kept.report.measurement.events);
      shots.set(swing, { take, curves, impact: take.events.impact ?? replay.start_s - curves.start_s });
      changed();
    }, (error) => {
      shots.set(swing, { failed: error.message });
      changed();
    });
  }
  return shots.get(swing);
}

const colors = () => (dark.matches ? DARK : LIGHT);

function picture({ take, curves, impact }, kind, moment, at) {
  const words = { face_on: take.handed === "left" ? "face on · ← target" : "face on · target →", along_line: "along the target line" }[kind];
  const canvas = el("canvas", { role: "img", "aria-label": `The golfer ${at ? `at ${eventName(at)}` : "at impact"}, ${words}, ${take.handed}-handed` });
  const stage = new Stage(canvas, camera(kind, take.handed), colors());
  const rest = restPoint(take, impact + (curves.events.address ?? curves.start_s));
  whenPlaced(canvas, () => {
    const path = take.headPath(impact + moment - PATH_S, impact + moment, PATH_STEP_S);
    const box = extent(stage.view, [...take.pointsAt(impact + moment), ...path, rest].filter(Boolean), MARGIN_M);
    box.bottom -= kind === "face_on" ? 0.14 : 0.04;
    stage.frame(box, Math.min(canvas.clientWidth / (box.right - box.left), canvas.clientHeight / (box.top - box.bottom)));
    stage.clear();
    drawTake(stage, impact + moment, { take, rest, feet: kind === "face_on" });
  });
  return el("figure", {}, canvas, el("figcaption", {}, words));
}

function curve({ curves }, signal, at, { choose, known }) {
  const { events, start_s: start, rate_hz: rate } = curves;
  const [from, to] = [(events.takeaway_start ?? start) - BEFORE_S, Math.min((events.finish ?? 0.5) + BEFORE_S, start + signal.values.length / rate)];
  const line = signal.values.map((value, i) => [start + i / rate, value]);
  const canvas = el("canvas", { role: "img", "aria-label": `${metricName(signal.id)} over the swing${at ? `, marked at ${eventName(at)}` : ""}` });
  const x = (time) => LEFT + ((canvas.clientWidth - LEFT - RIGHT) * (time - from)) / (to - from);
  const mark = el("i.at", {});
  const said = el("b.said", {}, at === null ? "" : valueAt(line, events[at], signal.unit));
  whenPlaced(canvas, () => {
    drawLane(canvas, { color: "ink", width: 2.5 }, { lines: { a: line }, events: { a: events }, from, to, unit: signal.unit, units: units() }, colors());
    if (at === null) return;
    for (const node of [mark, said]) node.style.left = `${x(events[at])}px`;
    said.classList.toggle("before", x(events[at]) > 0.6 * canvas.clientWidth);
  });
  // The nearest event to the finger: nobody hits a line.
  canvas.onclick = (tap) => {
    const off = (event) => Math.abs(x(events[event]) - tap.offsetX);
    choose(known.toSorted((p, q) => off(p) - off(q))[0]);
  };
  return el("figure.curve", {}, el("figcaption", {}, `${metricName(signal.id)}, ${label(signal.unit)}`), el(".field", {}, canvas, at !== null && mark, at !== null && said));
}

function valueAt(line, time, unit) {
  const near = line.filter(([, value]) => value !== null).toSorted((p, q) => Math.abs(p[0] - time) - Math.abs(q[0] - time))[0];
  return near ? `${digits(near[1], unit)} ${label(unit)}`.replace(" °", "°") : "";
}

// A canvas has a size once it is in the page, and another one when the page is turned.
function whenPlaced(canvas, draw) {
  new ResizeObserver(() => {
    if (canvas.clientWidth) draw();
  }).observe(canvas);
}
