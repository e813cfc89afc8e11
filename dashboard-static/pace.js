// How often a moving picture is drawn: with the screen, at most 60 times a second, and every other time where
// the device cannot follow. An even 30 looks smoother than an uneven 40.

const LEAST_MS = 14;
const SLOW_MS = 21;
const LOOKED_AT = 40;
const TRIED_AGAIN_MS = 8000;

export class Pace {
  constructor() {
    this.every = 1;
    this.turn = this.sum = this.seen = this.last = this.called = this.since = 0;
  }

  /** Whether this frame, at `now` (ms), is drawn. */
  due(now) {
    const gap = now - this.called;
    this.called = now;
    this.watch(now, gap);
    this.turn += 1;
    if (this.turn % this.every || now - this.last < LEAST_MS) return false;
    this.last = now;
    return true;
  }

  // The mean time between frames tells what all of drawing costs, not only the script's part of it.
  watch(now, gap) {
    if (gap > 250) return;
    this.sum += gap;
    this.seen += 1;
    if (this.seen < LOOKED_AT) return;
    if (this.every === 1 && this.sum / this.seen > SLOW_MS) [this.every, this.since] = [2, now];
    else if (this.every === 2 && now - this.since > TRIED_AGAIN_MS) this.every = 1;
    this.sum = this.seen = 0;
  }
}
