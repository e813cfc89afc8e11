// Calibration of who stands in the bay, from what it sees: a live picture with the medial markers, seconds
// that count down, and what it gave in words. What is entered can be taken back.

import { el, fill } from "../element.js";
import { get, send } from "../lesson/api.js";
import { say } from "../page.js";
import { Picture } from "./picture.js";
import { count, landmark, list } from "./say.js";

const MEDIAL = /_medial$/;

export class TrialWizard {
  /** `seat` gives who stands in the bay: a student with an id and a name, or null. */
  constructor(root, seat) {
    Object.assign(this, { root, seat, ends: null, student: null, entry: null });
    this.picture = new Picture(root.querySelector("figure"), "front");
    this.seconds = root.querySelector("select");
    [this.next, this.last, this.undo] = ["next", "last", "undo"].map((name) => root.querySelector(`[data-part="${name}"]`));
    this.next.onclick = () => this.take("next");
    this.last.onclick = () => this.take("last");
    this.undo.onclick = () => this.back();
  }

  draw(memory) {
    this.picture.draw(memory, new Set(), []);
  }

  show(memory) {
    const student = this.seat();
    const medial = memory.landmarks.filter((name) => MEDIAL.test(name));
    const missing = medial.filter((name) => memory.isHidden(name));
    const left = this.ends === null ? null : Math.max(0, Math.ceil((this.ends - performance.now()) / 1000));
    say(this.root.querySelector(".who"), student ? `In the bay: ${student.name}` : "Nobody is chosen: choose a student on the Lesson page first.");
    say(this.root.querySelector(".medial"), !medial.length ? "○ The medial markers are not on: this source sends none now."
      : missing.length ? `▲ Not seen of the medial markers: ${list(missing.map(landmark), 6)}.` : `● All ${count(medial.length, "medial marker")} are seen.`);
    this.next.disabled = this.last.disabled = !student || left !== null;
    say(this.next, left === null ? "Take the seconds that begin now" : left ? `${left} s: move each leg slowly` : "Reading …");
    if (student?.id !== this.student) this.list(student);
  }

  async list(student) {
    this.student = student?.id ?? null;
    const out = this.root.querySelector(".made");
    if (!student) return fill(out, "none", () => []);
    try {
      const { calibrations } = await get(`students/${encodeURIComponent(student.id)}/calibrations`);
      const lines = calibrations.map((c) => `${c.in_use ? "●" : "○"} Calibration ${c.number}, ${new Date(c.since_utc_ns / 1e6).toLocaleString()}, ${count(c.swings, "swing")}${c.in_use ? ": in use" : ""}`);
      fill(out, lines, () => (lines.length ? lines : ["○ None on file: joints are placed by the address alone, and values say so."]).map((text) => el("li", {}, text)));
    } catch {
      this.student = null;
    }
  }

  async take(from) {
    const student = this.seat();
    const seconds = Number(this.seconds.value);
    this.ends = performance.now() + (from === "next" ? 1000 * seconds : 0);
    this.entry = null;
    this.undo.hidden = true;
    try {
      const made = await send("POST", `students/${encodeURIComponent(student.id)}/calibrations`, { from, seconds });
      this.entry = made.entry;
      this.undo.hidden = false;
      this.tell("ok", [`Calibration ${made.number} goes from the next shot on.`, ...made.words]);
    } catch (error) {
      // The daemon names landmarks by their identifiers.
      this.tell("look", [error.message.replace(/\b(left|right)_[a-z_]+/g, landmark)]);
    }
    this.ends = null;
    this.student = null;
  }

  async back() {
    try {
      await send("POST", `entries/${this.entry}/undo`);
      this.undo.hidden = true;
      this.tell("ok", ["Taken back: what went before goes again."]);
    } catch (error) {
      this.tell("look", [error.message]);
    }
    this.student = null;
  }

  tell(state, lines) {
    fill(this.root.querySelector(".words"), [state, lines, performance.now()], () => lines.map((text, n) => el("li", {}, n ? text : `${state === "ok" ? "●" : "▲"} ${text}`)));
  }
}
