// The known-length check: the distance of two landmarks as the cameras see it against the one that the
// user measured by hand. Live, over the last two seconds.

import { el, fill } from "../element.js";
import { readNumber } from "../number.js";
import { say } from "../page.js";
import { LIMITS, judge } from "./limits.js";
import { STATES, figure, landmark } from "./say.js";

const SPAN_S = 2;
const PREFERRED = ["club_butt", "club_head_toe"];
const KEY = "whin.rig.length";

export class LengthCheck {
  constructor(root) {
    this.root = root;
    this.ends = [...root.querySelectorAll("select")];
    this.known = root.querySelector("input");
    this.samples = [];
    this.wanted = read();
    for (const field of [...this.ends, this.known]) field.oninput = () => this.changed();
    if (this.wanted.known) this.known.value = this.wanted.known;
  }

  /** The landmarks to choose from. */
  offer(landmarks) {
    this.ends.forEach((select, end) => fill(select, landmarks, () => {
      const wanted = this.wanted.ends?.[end] ?? PREFERRED[end];
      const at = landmarks.includes(wanted) ? wanted : landmarks[end];
      return landmarks.map((name) => el("option", { value: name, selected: name === at }, landmark(name)));
    }));
  }

  /** One live pose. */
  see(memory) {
    const [a, b] = this.ends.map((s) => memory.at(s.value));
    const now = memory.timeS;
    if (this.samples.at(-1)?.timeS > now) this.samples = [];
    this.samples = this.samples.filter((s) => s.timeS > now - SPAN_S);
    if (a && b) this.samples.push({ timeS: now, mm: 1000 * Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]) });
  }

  changed() {
    this.samples = [];
    this.wanted = { ends: this.ends.map((s) => s.value), known: this.known.value };
    localStorage.setItem(KEY, JSON.stringify(this.wanted));
    this.show();
  }

  show() {
    const out = (name, text) => say(this.root.querySelector(`[data-out="${name}"]`), text);
    const told = readNumber(this.known);
    const verdict = lengthVerdict(this.samples.map((s) => s.mm), told.value);
    if (told.fault) Object.assign(verdict, { state: "wrong", words: told.fault });
    out("measured", verdict.mean === null ? "—" : `${figure(verdict.mean, 1)} mm`);
    out("scatter", verdict.mean === null ? "both ends must be seen" : `scatter ± ${figure(verdict.scatter, 1)} mm in ${SPAN_S} s`);
    out("difference", verdict.off === null ? "—" : `${verdict.off > 0 ? "+" : ""}${figure(verdict.off, 1)} mm`);
    out("limit", verdict.limit === null ? "—" : `± ${figure(verdict.limit, 1)} mm`);
    const said = this.root.querySelector(".said");
    said.dataset.state = verdict.state;
    say(said, `${STATES[verdict.state].shape} ${STATES[verdict.state].word}: ${verdict.words}`);
  }
}

/** Mean and scatter of the distances, and how they stand to the known one; all in millimeters. */
export function lengthVerdict(distances, known) {
  const n = distances.length;
  const mean = n ? distances.reduce((a, b) => a + b) / n : null;
  const scatter = n > 1 ? Math.sqrt(distances.reduce((sum, d) => sum + (d - mean) ** 2, 0) / (n - 1)) : 0;
  const limit = known > 0 ? Math.max(LIMITS.length.least, LIMITS.length.share * known) : null;
  const off = mean !== null && limit !== null ? mean - known : null;
  if (off === null) return { mean, scatter, limit, off, state: "unknown", words: limit === null ? "enter the distance that you measured by hand" : "hold both markers where the cameras see them" };
  const state = judge(Math.abs(off), { fine: limit, most: 3 * limit });
  const words = {
    ok: "the cameras measure lengths as your tape does",
    look: "measure again between the middles of both markers; if it stays, calibrate the cameras",
    wrong: "the scale is off, or a name is on the wrong marker: check the names, then calibrate the cameras and check the unit",
  }[state];
  return { mean, scatter, limit, off, state, words };
}

function read() {
  try {
    return JSON.parse(localStorage.getItem(KEY)) ?? {};
  } catch {
    return {};
  }
}
