// The club wizard: mass and balance point on a scale and an edge, moment of inertia from how the club swings
// as a pendulum, and the result on a student's file. The arithmetic is here too; nothing is asked of the bay
// but the students.

import { el } from "../element.js";
import { get, send } from "../lesson/api.js";
import { say } from "../page.js";
import { STATES, figure } from "./say.js";

/** Standard acceleration of free fall, m/s² (3rd CGPM, 1901). */
const FREE_FALL = 9.80665;
const SWINGS = 20;

/**
 * Moment of inertia across the shaft about the balance point, kg m², of a club of `mass` (kg) that hangs from
 * a pivot `pivot` (m) from its balance point and takes `period` (s) to swing forth and back. A physical
 * pendulum of small swings (any textbook of mechanics): period = 2π √(I / (m g d)) about the pivot; the
 * parallel-axis theorem takes m d² off.
 */
export function inertiaOf({ mass, pivot, period }) {
  const aboutPivot = (mass * FREE_FALL * pivot * period ** 2) / (4 * Math.PI ** 2);
  return aboutPivot - mass * pivot ** 2;
}

/** Owns the section. */
export class ClubWizard {
  /** `has` says whether the bay has an archive, and so students. */
  constructor(root, has) {
    Object.assign(this, { root, has });
    this.fields = Object.fromEntries(["mass", "balance", "pivot", "time", "name"].map((name) => [name, root.querySelector(`[name="${name}"]`)]));
    this.student = root.querySelector("select");
    for (const field of Object.values(this.fields)) field.oninput = () => this.show();
    this.student.onchange = () => this.show();
    this.student.onfocus = () => this.offer();
    this.watch = root.querySelector(".watch");
    this.watch.onclick = () => this.time();
    this.keep = root.querySelector(".keep");
    this.keep.onclick = () => this.file();
    this.began = null;
    this.show();
    this.offer();
  }

  async offer() {
    if (!this.has()) return;
    const { students } = await get("students").catch(() => ({ students: [] }));
    const names = students.map((s) => [s.id, s.name]);
    const text = JSON.stringify(names);
    if (this.offered === text) return;
    this.offered = text;
    this.student.replaceChildren(el("option", { value: "" }, "choose a student"), ...names.map(([id, name]) => el("option", { value: id }, name)));
    this.show();
  }

  // A stopwatch for whoever counts: started at one end of a swing, stopped at the same end.
  time() {
    if (this.began === null) this.began = performance.now();
    else {
      this.fields.time.value = ((performance.now() - this.began) / 1000).toFixed(2);
      this.began = null;
    }
    say(this.watch, this.began === null ? "Start the watch" : `Stop after ${SWINGS} swings`);
    this.show();
  }

  read() {
    const number = (name) => Number.parseFloat(this.fields[name].value);
    return { mass: number("mass") / 1000, balance: number("balance") / 1000, pivot: number("pivot") / 1000, period: number("time") / SWINGS };
  }

  show() {
    const told = this.read();
    const whole = told.mass > 0 && told.pivot > 0 && told.period > 0;
    const inertia = whole ? inertiaOf(told) : null;
    // The pendulum of a point is the quickest there can be: below it something was read wrong.
    const state = inertia === null ? "unknown" : inertia > 0 ? "ok" : "wrong";
    const out = (name, text) => say(this.root.querySelector(`[data-out="${name}"]`), text);
    out("period", whole ? `${figure(told.period, 3)} s` : "—");
    out("inertia", state === "ok" ? `${figure(inertia, 4)} kg m²` : "—");
    out("balance", told.balance > 0 ? `${figure(1000 * told.balance)} mm` : "—");
    const words = {
      unknown: "enter mass, pivot and time",
      ok: "file it with the student's club: work and power of the hands then rest on it instead of an assumed club",
      wrong: `no club swings as quickly as that: measure the distance again, and count ${SWINGS} swings forth and back`,
    }[state];
    const said = this.root.querySelector(".said");
    said.dataset.state = state;
    say(said, `${STATES[state].shape} ${STATES[state].word}: ${words}`);
    this.inertia = state === "ok" ? inertia : null;
    this.keep.disabled = !(this.inertia && told.balance > 0 && this.fields.name.value.trim() && this.student.value);
  }

  async file() {
    const { mass, balance } = this.read();
    const club = { name: this.fields.name.value.trim(), mass_kg: mass, balance_m: balance, inertia_kg_m2: this.inertia };
    this.keep.disabled = true;
    const done = this.root.querySelector(".filed");
    try {
      await send("POST", `students/${encodeURIComponent(this.student.value)}/clubs`, club);
      say(done, `● ${club.name} is on file for ${this.student.selectedOptions[0].textContent}: choose it on the Lesson page.`);
    } catch (error) {
      say(done, `■ ${error.message}`);
      this.keep.disabled = false;
    }
  }
}
