// The known-weight check: a weight that a scale told against what one plate reads now with it on, or against
// what all plates bore together at address of the last swing.

import { el, fill } from "../element.js";
import { readNumber } from "../number.js";
import { say } from "../page.js";
import { LIMITS, judge } from "./limits.js";
import { fromMiddle } from "./now.js";
import { STATES, figure } from "./say.js";

/** Standard acceleration of free fall, m/s² (3rd CGPM, 1901). */
const FREE_FALL = 9.80665;
const ADDRESS = "address";

/** How a load in newtons stands to a known mass in kilograms; `least` newtons are allowed in any case. */
export function loadVerdict(load, mass, least = 0) {
  const known = mass > 0 ? mass * FREE_FALL : null;
  const limit = known === null ? null : Math.max(least, LIMITS.load.fine * known);
  const off = known === null || load === null ? null : load - known;
  if (off === null) return { known, limit, off, state: "unknown", words: known === null ? "enter what the scale says" : "stand on the plates and hit: the check reads the address of that swing" };
  const state = judge(Math.abs(off), { fine: limit, most: (LIMITS.load.most / LIMITS.load.fine) * limit });
  const words = {
    ok: "the plates weigh as the scale does",
    look: "leave the plates empty for half a second, load them again and repeat; if it stays, look for something that touches a plate's edge",
    wrong: "a plate's gain or unit is wrong, the load stood beside it, or a plate does not send",
  }[state];
  return { known, limit, off, state, words };
}

/** The same for one plate with a weight on it now: what keeps it from being judged comes first. */
export function plateVerdict(plate, mass) {
  const load = plate.force_n ? plate.force_n[1] : null;
  const verdict = loadVerdict(load, mass, LIMITS.weight.least);
  const waits = (words, state = "unknown") => ({ ...verdict, state, words });
  if (!(mass > 0)) return verdict;
  if (load === null) return waits(`${plate.name} sends nothing: check its amplifier and cable`, "wrong");
  if (!plate.zero) return waits(`${plate.name} was never seen empty: take everything off it for half a second, then put the weight on`, "look");
  if (load < LIMITS.weight.some) return waits(`put the weight on the middle of ${plate.name}`);
  if (plate.scatter_n > LIMITS.weight.quiet) return waits("wait until nothing moves");
  const off = fromMiddle(plate);
  if (verdict.state === "ok" && off > LIMITS.weight.middle) return waits(`it weighs as the scale does, but reads the load ${figure(100 * off)} cm from its middle: is the weight there? If so, corners or origin of the plate are described wrongly`, "look");
  return verdict;
}

/** Owns the section. */
export class LoadCheck {
  constructor(root) {
    this.root = root;
    this.mass = root.querySelector("input");
    this.where = root.querySelector("select");
    this.load = null;
    this.now = [];
    this.mass.oninput = () => this.show();
    this.where.oninput = () => {
      this.chosen = this.where.value;
      this.show();
    };
  }

  /** The plates of the last swing, or `null`, and what they read now. */
  see(plates, now) {
    const known = plates?.length && plates.every((p) => p.rest !== null);
    this.load = known ? plates.reduce((sum, p) => sum + p.rest, 0) : null;
    this.now = now;
    const names = now.map((p) => p.name);
    fill(this.where, names, () => {
      const was = this.chosen ?? names[0];
      const options = [...names.map((name) => [name, `${name}, a weight on it now`]), [ADDRESS, "all plates, the golfer at address"]];
      return options.map(([value, text]) => el("option", { value, selected: value === was }, text));
    });
    this.show();
  }

  show() {
    const { value: mass, fault } = readNumber(this.mass);
    const plate = this.now.find((p) => p.name === this.where.value);
    const load = plate ? plate.force_n?.[1] ?? null : this.load;
    const verdict = plate ? plateVerdict(plate, mass) : loadVerdict(this.load, mass);
    if (fault) Object.assign(verdict, { state: "wrong", words: fault });
    const out = (name, text) => say(this.root.querySelector(`[data-out="${name}"]`), text);
    out("load", load === null ? "—" : `${figure(load, 1)} N`);
    out("from", plate ? `${plate.name}, mean of half a second` : "all plates at address, last swing");
    out("known", verdict.known === null ? "—" : `${figure(verdict.known, 1)} N`);
    out("off", verdict.off === null ? "—" : `${verdict.off > 0 ? "+" : ""}${figure(verdict.off, 1)} N`);
    out("limit", verdict.limit === null ? "—" : `± ${figure(verdict.limit, 1)} N`);
    out("why", plate ? "1 %, or 5 N where that is more: so far an empty plate may be off its zero" : "1 %");
    const said = this.root.querySelector(".said");
    said.dataset.state = verdict.state;
    say(said, `${STATES[verdict.state].shape} ${STATES[verdict.state].word}: ${verdict.words}`);
  }
}
