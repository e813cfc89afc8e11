// The known-weight check: what the plates bore together at address of the last swing against a weight that a
// scale told.

import { say } from "../page.js";
import { LIMITS, judge } from "./limits.js";
import { STATES, figure } from "./say.js";

/** Standard acceleration of free fall, m/s² (3rd CGPM, 1901). */
const FREE_FALL = 9.80665;

/** How a load of the plates in newtons stands to a known mass in kilograms. */
export function loadVerdict(load, mass) {
  const known = mass > 0 ? mass * FREE_FALL : null;
  const limit = known === null ? null : LIMITS.load.fine * known;
  const off = known === null || load === null ? null : load - known;
  if (off === null) return { known, limit, off, state: "unknown", words: known === null ? "enter what the scale says" : "stand on the plates and hit: the check reads the address of that swing" };
  const state = judge(Math.abs(off) / known, LIMITS.load);
  const words = {
    ok: "the plates weigh as the scale does",
    look: "leave the plates empty for half a second, step on again and repeat; if it stays, look for something that touches a plate's edge",
    wrong: "a plate's gain or unit is wrong, a foot stood beside it, or one plate does not send: compare both loads above",
  }[state];
  return { known, limit, off, state, words };
}

/** Owns the section. */
export class LoadCheck {
  constructor(root) {
    this.root = root;
    this.mass = root.querySelector("input");
    this.load = null;
    this.mass.oninput = () => this.show();
  }

  /** The plates of the last swing, or `null`. */
  see(plates) {
    const known = plates?.length && plates.every((p) => p.rest !== null);
    this.load = known ? plates.reduce((sum, p) => sum + p.rest, 0) : null;
    this.show();
  }

  show() {
    const verdict = loadVerdict(this.load, Number.parseFloat(this.mass.value));
    const out = (name, text) => say(this.root.querySelector(`[data-out="${name}"]`), text);
    out("load", this.load === null ? "—" : `${figure(this.load)} N`);
    out("known", verdict.known === null ? "—" : `${figure(verdict.known)} N`);
    out("off", verdict.off === null ? "—" : `${verdict.off > 0 ? "+" : ""}${figure(verdict.off)} N`);
    out("limit", verdict.limit === null ? "—" : `± ${figure(verdict.limit)} N`);
    const said = this.root.querySelector(".said");
    said.dataset.state = verdict.state;
    say(said, `${STATES[verdict.state].shape} ${STATES[verdict.state].word}: ${verdict.words}`);
  }
}
