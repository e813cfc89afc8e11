// What the page remembers of live poses: where each landmark was seen last, how often in the last ten
// seconds, which way the golfer faces. No drawing here.

const SPAN_S = 10;
/** Shorter than this nobody calls it hidden, seconds; own choice. */
const BLINK_S = 0.3;
const BODY = /^(?!club_)/;
/** So much of the body must be seen before hidden markers are a fault and not an empty bay. */
const SOMEBODY = 0.3;

export class PoseMemory {
  constructor() {
    this.clear();
  }

  clear() {
    Object.assign(this, { landmarks: [], points: [], last: new Map(), seconds: [], timeS: null });
  }

  /** One live pose; a step back in time is a new beginning. */
  see(landmarks, { timeS, points }) {
    if (this.timeS !== null && (timeS < this.timeS || timeS > this.timeS + SPAN_S)) this.clear();
    Object.assign(this, { landmarks, points, timeS });
    let now = this.seconds.at(-1);
    if (!now || timeS - now.from >= 1) {
      now = { from: timeS, poses: 0, seen: new Map() };
      this.seconds.push(now);
      if (this.seconds.length > SPAN_S) this.seconds.shift();
    }
    now.poses += 1;
    landmarks.forEach((name, i) => {
      if (!points[i]) return;
      this.last.set(name, { point: points[i], timeS });
      now.seen.set(name, (now.seen.get(name) ?? 0) + 1);
    });
  }

  /** The point of a landmark now, or null. */
  at(name) {
    return this.points[this.landmarks.indexOf(name)] ?? null;
  }

  /** Where a landmark was seen last and how long ago, or null. */
  lastOf(name) {
    const last = this.last.get(name);
    return last ? { point: last.point, agoS: this.timeS - last.timeS } : null;
  }

  /** Whether a landmark is hidden, and not only missing in a frame or two. */
  isHidden(name) {
    const last = this.last.get(name);
    return !last || this.timeS - last.timeS > BLINK_S;
  }

  /** Landmarks hidden now. */
  hidden() {
    return this.landmarks.filter((name) => this.isHidden(name));
  }

  /** Whether somebody is in view at all. */
  somebody() {
    const body = this.landmarks.filter((name) => BODY.test(name));
    return body.length > 0 && body.filter((name) => this.at(name)).length >= SOMEBODY * body.length;
  }

  /** Share of the poses of the last ten seconds that showed the landmark, percent; null without any. */
  visible(name) {
    const poses = this.seconds.reduce((sum, s) => sum + s.poses, 0);
    const seen = this.seconds.reduce((sum, s) => sum + (s.seen.get(name) ?? 0), 0);
    return poses ? (100 * seen) / poses : null;
  }

  /**
   * Whether the golfer faces along +Z (`right`: the way of a right-handed golfer) or along −Z (`left`),
   * read off the markers themselves, or null. Told sides play no part: what is seen cannot be wrong.
   */
  facing() {
    let sum = 0;
    for (const [back, front] of [["left_psis", "left_asis"], ["right_psis", "right_asis"], ["left_heel", "left_toe"], ["right_heel", "right_toe"], ["c7", "sternal_notch"], ["t8", "xiphoid"]]) {
      const [b, f] = [this.last.get(back)?.point, this.last.get(front)?.point];
      if (b && f) sum += f[2] - b[2];
    }
    return sum === 0 ? null : sum > 0 ? "right" : "left";
  }
}
