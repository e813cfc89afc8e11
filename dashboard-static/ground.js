// The force plates of one replay in memory: what the ground does to each foot at any instant. Forces
// as shares of body weight where that is known, else in newtons. No drawing here.

/** The plates of a replay; without any it has no feet. */
export class Ground {
  constructor(replay) {
    const { body_weight_n: weight = null, plates = [] } = replay.ground ?? {};
    this.plates = plates;
    this.weight = weight;
    this.start = replay.start_s;
    this.rate = replay.rate_hz;
    this.feet = { lead: plates.find((p) => p.foot === "lead"), trail: plates.find((p) => p.foot === "trail") };
  }

  /** Whether there is anything to draw. */
  get known() {
    return this.plates.some((p) => p.forces.some(Boolean));
  }

  /** Force on a foot at `time` as a share of body weight (newtons without one), or `null`. */
  force(side, time) {
    const force = this.between(this.feet[side]?.forces, time);
    return force && force.map((f) => f / (this.weight ?? 1));
  }

  /** Center of pressure under a foot at `time`, or `null`. */
  center(side, time) {
    return this.between(this.feet[side]?.centers, time);
  }

  /** Center of pressure of both feet: between theirs, by vertical force; `null` without load. */
  common(time) {
    const feet = ["lead", "trail"].map((side) => [this.center(side, time), this.force(side, time)?.[1] ?? 0]);
    const loaded = feet.filter(([center]) => center);
    const sum = loaded.reduce((s, [, up]) => s + up, 0);
    return sum > 0 ? [0, 1, 2].map((axis) => loaded.reduce((s, [center, up]) => s + (center[axis] * up) / sum, 0)) : null;
  }

  /** Times and vertical force of a foot from `from` to `to`, in runs without a hole. */
  runs(side, from, to) {
    const runs = [[]];
    (this.feet[side]?.forces ?? []).forEach((force, i) => {
      const time = this.start + i / this.rate;
      if (time < from || time > to) return;
      if (force) runs.at(-1).push([time, force[1] / (this.weight ?? 1)]);
      else if (runs.at(-1).length) runs.push([]);
    });
    return runs.filter((run) => run.length > 1);
  }

  /** Why a foot has no force; empty where it has one. */
  reason(side) {
    const plate = this.feet[side];
    if (plate) return plate.reason ?? "";
    return this.plates.find((p) => !p.foot && p.reason)?.reason ?? "no plate is known to be under it";
  }

  between(samples, time) {
    if (!samples?.length) return null;
    const position = Math.min(Math.max((time - this.start) * this.rate, 0), samples.length - 1);
    const i = Math.min(Math.floor(position), Math.max(samples.length - 2, 0));
    const [a, b] = [samples[i], samples[i + 1] ?? samples[i]];
    return a && b ? a.map((v, axis) => v + (b[axis] - v) * (position - i)) : null;
  }
}
