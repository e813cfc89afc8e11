// Place of the ball and target line by putting the club down: once where the ball lies, once more toward the
// target; the bay reads where the head rests and says the lines for the marker map.

import { send } from "../lesson/api.js";
import { say } from "../page.js";
import { LIMITS, judge, worst } from "./limits.js";
import { STATES, figure } from "./say.js";

export class PlaceWizard {
  /** `bay` gives the bay's id, or null without an archive (which keeps the last seconds). */
  constructor(root, bay) {
    Object.assign(this, { root, bay, ball: null });
    this.buttons = [...root.querySelectorAll("button")];
    this.buttons.forEach((button, step) => { button.onclick = () => this.read(step); });
  }

  async read(step) {
    const said = this.root.querySelector(".said");
    this.buttons.forEach((b) => { b.disabled = true; });
    try {
      const bay = this.bay();
      if (!bay) throw new Error("this bay keeps no archive, so that nothing is kept to read from: start it with --archive and a folder");
      const placed = await send("POST", `bays/${encodeURIComponent(bay)}/place`, step ? { ball: this.ball } : {});
      this.ball = placed.ball;
      this.show(placed, said);
    } catch (error) {
      said.dataset.state = "look";
      said.textContent = `▲ ${error.message}`;
    }
    this.buttons[0].disabled = false;
    this.buttons[1].disabled = !this.ball;
  }

  show(placed, said) {
    const out = (name, text) => say(this.root.querySelector(`[data-out="${name}"]`), text);
    const { ball_off_mm: off, line_off_deg: turned } = placed;
    const signed = (value, decimals, unit) => (value === null ? "—" : `${value > 0 ? "+" : ""}${figure(value, decimals)} ${unit}`);
    const cm = (p) => p.map((v) => figure(100 * v, 1)).join(", ");
    out("ball", `${cm(placed.ball)} cm`);
    out("told", placed.told_ball ? `the analysis takes ${cm(placed.told_ball)}` : "the analysis takes the head’s place at address");
    out("off", signed(off, 0, "mm"));
    out("line", signed(turned, 1, "°").replace(" °", "°"));
    out("side", turned === null ? "after the second place" : `to the ${turned < 0 ? "right" : "left"} of the target line`);
    const states = [off, turned].map((v, n) => (v === null ? "ok" : judge(Math.abs(v), [LIMITS.ball, LIMITS.line][n])));
    const state = worst(states);
    said.dataset.state = state;
    say(said, `${STATES[state].shape} ${STATES[state].word}: ${state === "ok" && off !== null ? "place and line are as the analysis takes them; nothing has to be changed." : placed.words}`);
    const lines = this.root.querySelector("pre");
    lines.hidden = state === "ok" && off !== null;
    lines.textContent = placed.lines;
  }
}
