// One recorded swing in memory: the pose at any instant between its frames, the club head's path,
// and the schedule of the replay. Device time in seconds throughout. No drawing here.

import { headPoint } from "./body.js";
import { length, mix, sub } from "./vector.js";

/** Share of real speed between takeaway end and impact; a swing is too fast to be seen. */
export const SLOW = 0.25;
export const SLOW_WORDS = "quarter speed";
const THROUGH = 0.5;
const LEAD_IN_S = 0.4;
const AFTER_S = 0.15;
const HOLD_MS = 1200;
// A gap is drawn over when it is this short and its two ends this near; else the gap is shown.
const BRIDGE_S = 0.3;
const BRIDGE_M = 0.15;
const NOWHERE = [];
// The end of a round fades into the beginning of the next one.
const FADE_MS = 180;
const FAINTEST = 0.15;

/** The poses of a swing and the times of its events. */
export class Take {
  constructor(replay, events) {
    this.id = replay.id;
    this.handed = replay.handed;
    this.rate = replay.rate_hz;
    this.start = replay.start_s;
    this.frames = bridged(replay.frames, Math.ceil(BRIDGE_S * replay.rate_hz));
    this.end = replay.start_s + (replay.frames.length - 1) / replay.rate_hz;
    this.index = new Map(replay.landmarks.map((name, i) => [name, i]));
    this.events = Object.fromEntries(Object.entries(events)
      .filter(([, event]) => event.time_s != null)
      .map(([name, event]) => [name, event.time_s]));
  }

  /** A function from landmark name to its point at `time`, or `null`. */
  poseAt(time) {
    const position = clamp((time - this.start) * this.rate, 0, this.frames.length - 1);
    const i = Math.min(Math.floor(position), this.frames.length - 2);
    return (name) => {
      const k = this.index.get(name);
      return k === undefined ? null : between(this.frames, i, k, position - i);
    };
  }

  /** Every known point at `time`. */
  pointsAt(time) {
    const get = this.poseAt(time);
    return [...this.index.keys()].map(get).filter(Boolean);
  }

  /** Every known point of the frames from `from` to `to`, of the landmarks that are wanted. */
  allPoints(from, to, wanted = () => true) {
    const first = Math.max(0, Math.floor((from - this.start) * this.rate));
    const last = Math.ceil((to - this.start) * this.rate);
    const kept = [...this.index].filter(([name]) => wanted(name)).map(([, k]) => k);
    return this.frames.slice(first, last + 1).flatMap((frame) => kept.map((k) => frame[k]).filter(Boolean));
  }

  /** Middle of the club head from `from` to `to`, oldest first, at multiples of `step`; gaps are left out. */
  headPath(from, to, step) {
    if (this.step !== step) [this.step, this.heads] = [step, []];
    const path = [];
    const last = Math.floor((to - this.start) / step);
    for (let k = Math.max(0, Math.ceil((from - this.start) / step)); k <= last; k++) {
      // Worked out once: the next frame shows nearly the same ones.
      const head = (this.heads[k] ??= headPoint(this.poseAt(this.start + k * step)) ?? NOWHERE);
      if (head !== NOWHERE) path.push(head);
    }
    const now = headPoint(this.poseAt(to));
    if (now) path.push(now);
    return path;
  }
}

// Frames with short gaps filled by a straight line; the frames that came are left as they are.
function bridged(frames, longest) {
  const filled = frames.map((frame) => frame.slice());
  frames[0]?.forEach((_, k) => {
    let last = -1;
    frames.forEach((frame, i) => {
      if (!frame[k]) return;
      const bridge = last >= 0 && i - last > 1 && i - last <= longest && length(sub(frame[k], frames[last][k])) < BRIDGE_M;
      if (bridge) for (let j = last + 1; j < i; j++) filled[j][k] = mix(frames[last][k], frame[k], (j - last) / (i - last));
      last = i;
    });
  });
  return filled;
}

/**
 * When the replay shows what: real speed up to takeaway end, slowed to impact, half speed after,
 * then a pause; over and over.
 */
export function schedule(take) {
  const { events } = take;
  const from = Math.max(take.start, (events.takeaway_start ?? take.start) - LEAD_IN_S);
  const to = Math.min(take.end, (events.finish ?? take.end) + AFTER_S);
  const slowFrom = clamp(events.takeaway_end ?? from, from, to);
  const slowTo = clamp(events.impact ?? to, slowFrom, to);
  const parts = [[from, slowFrom, 1], [slowFrom, slowTo, SLOW], [slowTo, to, THROUGH]];
  const playMs = 1000 * parts.reduce((sum, [a, b, rate]) => sum + (b - a) / rate, 0);
  return {
    from, to, slowFrom, slowTo,
    restAt: events.address ?? from,
    timeAt: (elapsedMs) => timeIn(parts, (elapsedMs % (playMs + HOLD_MS)) / 1000, to),
    presenceAt: (elapsedMs) => presence(elapsedMs, playMs + HOLD_MS),
  };
}

// 1 while it plays; less around the start of each round but the first.
function presence(elapsedMs, roundMs) {
  const into = elapsedMs % roundMs;
  const near = Math.min(roundMs - into, elapsedMs < roundMs ? Infinity : into);
  return near >= FADE_MS ? 1 : FAINTEST + (1 - FAINTEST) * (near / FADE_MS);
}

function timeIn(parts, elapsed, to) {
  let left = elapsed;
  for (const [a, b, rate] of parts) {
    const lasts = (b - a) / rate;
    if (left < lasts) return a + left * rate;
    left -= lasts;
  }
  return to;
}

// Cubic through four frames (Catmull-Rom): between frames a club head travels 20 cm on an arc. Where
// an outer frame lacks the point the inner two stand in; where an inner one lacks it there is none.
function between(frames, i, k, u) {
  const [b, c] = [frames[i]?.[k], frames[i + 1]?.[k]];
  if (!b || !c) return (u < 0.5 ? b : c) ?? null;
  const a = frames[i - 1]?.[k] ?? b;
  const d = frames[i + 2]?.[k] ?? c;
  return b.map((_, axis) => cubic(a[axis], b[axis], c[axis], d[axis], u));
}

function cubic(a, b, c, d, u) {
  return b + 0.5 * u * (c - a + u * (2 * a - 5 * b + 4 * c - d + u * (3 * (b - c) + d - a)));
}

const clamp = (x, low, high) => Math.min(Math.max(x, low), high);
