// One signal of two swings over the shared clock, on a canvas of its own: event lines, a gray ribbon, the
// first swing in gray, the second in the lane's color, peak ticks with their intervals.

import { shown } from "../figures.js";
import { mixed } from "../palette.js";

const PAD = { top: 14, bottom: 4, left: 46, right: 8 };
const REFERENCE = 0.4;
const RIBBON = 0.13;
const EVENT_LINES = ["takeaway_end", "top", "impact"];

/** Room left of the curves, for whoever puts a cursor over them; CSS pixels. */
export const LEFT = PAD.left;
export const RIGHT = PAD.right;

/**
 * Draws a lane.
 * @param {HTMLCanvasElement} canvas
 * @param {object} lane `color` (a name of the palette), `dash`, `width`
 * @param {object} what `lines` (side → [[time, value|null]…] on the clock), `ribbon` ([[time, mean, sd]…]),
 *   `peaks` (side → {time, value, low, high}), `events` (side → {event: time}), `from`, `to`, `unit`, `units`
 * @param {object} colors the palette
 */
export function drawLane(canvas, lane, what, colors) {
  const c = cleared(canvas);
  const range = rangeOf(what);
  if (!range) return;
  const { clientWidth: w, clientHeight: h } = canvas;
  const x = (time) => PAD.left + ((w - PAD.left - PAD.right) * (time - what.from)) / (what.to - what.from);
  const y = (value) => h - PAD.bottom - ((h - PAD.top - PAD.bottom) * (value - range[0])) / (range[1] - range[0]);
  const pen = { c, x, y, colors, w, h };
  uprights(pen, what);
  scale(pen, range, what, canvas);
  c.save();
  c.beginPath();
  c.rect(PAD.left, 0, w - PAD.left - PAD.right, h);
  c.clip();
  if (what.ribbon) ribbon(pen, what.ribbon);
  const gray = mixed(colors.panel, colors.ink, REFERENCE);
  const alone = !what.lines.b;
  for (const side of ["a", "b"]) {
    const color = side === "a" && !alone ? gray : colors[lane.color] ?? colors.ink;
    if (what.lines[side]) course(pen, what.lines[side], { ...lane, color });
    if (what.peaks?.[side]) peak(pen, what.peaks[side], color, side === "a" && !alone);
  }
  c.restore();
}

function cleared(canvas) {
  const ratio = window.devicePixelRatio || 1;
  const [w, h] = [Math.round(canvas.clientWidth * ratio), Math.round(canvas.clientHeight * ratio)];
  if (canvas.width !== w || canvas.height !== h) [canvas.width, canvas.height] = [w, h];
  const c = canvas.getContext("2d");
  c.setTransform(ratio, 0, 0, ratio, 0, 0);
  c.clearRect(0, 0, canvas.clientWidth, canvas.clientHeight);
  return c;
}

function rangeOf({ lines, ribbon: band, from, to }) {
  let [low, high] = [Infinity, -Infinity];
  const take = (time, value) => {
    if (value == null || time < from || time > to) return;
    [low, high] = [Math.min(low, value), Math.max(high, value)];
  };
  for (const line of Object.values(lines)) for (const [time, value] of line ?? []) take(time, value);
  for (const [time, mean, sd] of band ?? []) if (mean !== null) [mean - sd, mean + sd].forEach((v) => take(time, v));
  if (low > high) return null;
  const room = (high - low || 1) * 0.08;
  return [low - room, high + room];
}

function uprights({ c, x, h, colors }, { events, from, to }) {
  for (const [side, dash] of [["a", []], ["b", [3, 4]]]) {
    for (const event of EVENT_LINES) {
      const at = events[side]?.[event];
      if (at === undefined || at < from || at > to) continue;
      c.strokeStyle = event === "impact" ? colors.edge : mixed(colors.panel, colors.edge, 0.6);
      c.lineWidth = 1;
      c.setLineDash(dash);
      path(c, [[x(at), 0], [x(at), h]]);
    }
  }
  c.setLineDash([]);
}

function scale({ c, y, w, colors }, [low, high], { unit, units }, canvas) {
  c.font = `11px ${getComputedStyle(canvas).fontFamily}`;
  c.fillStyle = colors.dim;
  c.textAlign = "right";
  c.textBaseline = "middle";
  const inside = [low + 0.08 * (high - low), high - 0.08 * (high - low)];
  const marks = low < 0 && high > 0 ? [...inside.filter((v) => Math.abs(v) > 0.18 * (high - low)), 0] : inside;
  for (const value of marks) {
    c.fillText(shown(value, unit, units).digits, PAD.left - 6, y(value));
    c.strokeStyle = colors.grid;
    c.lineWidth = value === 0 ? 1.5 : 1;
    path(c, [[PAD.left, y(value)], [w - PAD.right, y(value)]]);
  }
}

function ribbon({ c, x, y, colors }, band) {
  c.fillStyle = mixed(colors.panel, colors.ink, RIBBON);
  for (const run of runs(band, ([, mean]) => mean !== null)) {
    c.beginPath();
    for (const [time, mean, sd] of run) c.lineTo(x(time), y(mean + sd));
    for (const [time, mean, sd] of run.toReversed()) c.lineTo(x(time), y(mean - sd));
    c.closePath();
    c.fill();
  }
}

function course({ c, x, y }, line, { color, dash = [], width = 2 }) {
  c.strokeStyle = color;
  c.lineWidth = width;
  c.lineJoin = c.lineCap = dash.length ? "butt" : "round";
  c.lineJoin = "round";
  c.setLineDash(dash);
  for (const run of runs(line, ([, value]) => value !== null)) path(c, run.map(([time, value]) => [x(time), y(value)]));
  c.setLineDash([]);
}

// A tick at the top of the lane over the peak, with a bar as long as its time's interval; the second swing's
// stands above that of the first.
function peak({ c, x, y }, { time, value, low, high }, color, first) {
  const top = first ? 9 : 3;
  c.strokeStyle = c.fillStyle = color;
  c.lineWidth = 2;
  path(c, [[x(time), top - 3], [x(time), Math.max(y(value) - 3, top + 3)]]);
  c.beginPath();
  c.arc(x(time), y(value), 3.5, 0, 2 * Math.PI);
  c.fill();
  if (low !== undefined) path(c, [[x(low), top], [x(high), top]]);
}

function runs(all, known) {
  const made = [[]];
  for (const one of all) {
    if (known(one)) made.at(-1).push(one);
    else if (made.at(-1).length) made.push([]);
  }
  return made.filter((run) => run.length > 1);
}

function path(c, spots) {
  c.beginPath();
  spots.forEach(([px, py]) => c.lineTo(px, py));
  c.stroke();
}
