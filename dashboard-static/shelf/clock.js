// One clock for two swings. Its time is that of the first swing, in seconds from its impact; the second
// follows either second by second (both at impact at 0) or stretched, so that address, top, impact and
// finish fall together. No page and no drawing here.

/** Events at which stretched swings meet. */
export const KNOTS = ["address", "top", "impact", "finish"];
const HOLD_S = 0.8;
const BEFORE_S = 0.25;
const AFTER_S = 0.1;

/**
 * Straight from knot to knot, at the same pace before the first and after the last.
 * @param {object} from events of one swing, seconds from its impact
 * @param {object} to events of the other
 * @returns {(time: number) => number} from the one's time to the other's
 */
export function timeMap(from, to) {
  const pairs = KNOTS.filter((k) => from[k] !== undefined && to[k] !== undefined)
    .map((k) => [from[k], to[k]])
    .filter(([x, y], i, all) => i === 0 || (x > all[i - 1][0] && y > all[i - 1][1]));
  if (pairs.length === 0) return (time) => time;
  return (time) => {
    const after = pairs.findIndex(([x]) => x >= time);
    if (after === 0) return time - pairs[0][0] + pairs[0][1];
    if (after < 0) return time - pairs.at(-1)[0] + pairs.at(-1)[1];
    const [[x0, y0], [x1, y1]] = [pairs[after - 1], pairs[after]];
    return y0 + ((time - x0) / (x1 - x0)) * (y1 - y0);
  };
}

/** The clock; tells whoever listens when the moment or anything else of it changed. */
export class Clock {
  constructor() {
    Object.assign(this, { a: null, b: null, stretched: true, playing: false, speed: 0.25, time: 0, from: -1, to: 0.5, held: 0 });
    this.listeners = { moment: new Set(), setting: new Set() };
  }

  /** Calls back at every moment, and at every change of a setting. */
  listen({ moment, setting }) {
    if (moment) this.listeners.moment.add(moment);
    if (setting) this.listeners.setting.add(setting);
  }

  /** Takes the events of two swings (the second may be missing), seconds from impact. */
  load(a, b, frame) {
    Object.assign(this, { a, b, frame });
    this.arrange();
    this.time = this.from;
    this.tell("setting");
  }

  /** Stretched or second by second. */
  stretch(on) {
    this.stretched = on;
    this.arrange();
    this.tell("setting");
  }

  arrange() {
    const same = (time) => time;
    const both = this.stretched && this.a && this.b;
    this.forth = both ? timeMap(this.a, this.b) : same;
    this.back = both ? timeMap(this.b, this.a) : same;
    const ends = [this.a, this.b].filter(Boolean).map((events) => [start(events), events.finish ?? 0.4]);
    const shared = this.stretched ? ends.slice(0, 1) : ends;
    this.from = Math.min(...shared.map(([from]) => from)) - BEFORE_S;
    this.to = Math.max(...shared.map(([, to]) => to)) + AFTER_S;
    this.time = Math.min(Math.max(this.time, this.from), this.to);
  }

  /** The moment of a swing, seconds from its own impact. */
  momentOf(side, time = this.time) {
    return side === "b" ? this.forth(time) : time;
  }

  /** When on this clock a swing's moment is. */
  whenIs(side, moment) {
    return side === "b" ? this.back(moment) : moment;
  }

  /** Goes to a moment and stays there. */
  go(time) {
    this.time = Math.min(Math.max(time, this.from), this.to);
    this.pause();
    this.tell("moment");
  }

  /** Frames on or back. */
  step(count) {
    this.go(this.time + count * this.frame);
  }

  play() {
    if (this.time >= this.to - 1e-6) this.time = this.from;
    this.playing = true;
    this.tell("setting");
  }

  pause() {
    if (!this.playing) return;
    this.playing = false;
    this.tell("setting");
  }

  setSpeed(speed) {
    this.speed = speed;
    this.tell("setting");
  }

  /** Goes on by `seconds` of real time; at the end it waits a little and begins again. */
  advance(seconds) {
    if (!this.playing || !this.a) return;
    if (this.time >= this.to) {
      this.held += seconds;
      if (this.held < HOLD_S) return;
      [this.held, this.time] = [0, this.from];
    } else {
      this.time = Math.min(this.time + seconds * this.speed, this.to);
    }
    this.tell("moment");
  }

  tell(what) {
    for (const listener of this.listeners[what]) listener(this);
    if (what === "setting") this.tell("moment");
  }
}

const start = (events) => events.takeaway_start ?? events.address ?? events.top ?? -1;
