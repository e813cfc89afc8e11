// The club wizard: mass and balance point on a scale and an edge, moment of inertia from how the club swings
// as a pendulum, and the result on a student's file. The arithmetic is here too; nothing is asked of the bay
// but the students.

import { el } from "../element.js";
import { get, send } from "../lesson/api.js";
import { readNumber } from "../number.js";
import { say } from "../page.js";
import { STATES, figure, list } from "./say.js";

/** Standard acceleration of free fall, m/s² (3rd CGPM, 1901). */
const FREE_FALL = 9.80665;
const SWINGS = 20;
/** What the bay takes for a club, kg m². */
const INERTIA = { least: 0.005, most: 0.2 };

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
    for (const field of [...Object.values(this.fields), this.student]) field.oninput = () => {
      say(root.querySelector(".filed"), "");
      this.show();
    };
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
    const chosen = this.student.value;
    this.student.replaceChildren(el("option", { value: "" }, "choose a student"), ...names.map(([id, name]) => el("option", { value: id, selected: id === chosen }, name)));
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
    const told = ["mass", "balance", "pivot", "time"].map((name) => readNumber(this.fields[name]));
    const [mass, balance, pivot, time] = told.map(({ value }) => value);
    const scaled = (value, by) => (value === null ? null : value / by);
    return { mass: scaled(mass, 1000), balance: scaled(balance, 1000), pivot: scaled(pivot, 1000), period: scaled(time, SWINGS), fault: told.find(({ fault }) => fault)?.fault ?? null };
  }

  show() {
    const told = this.read();
    const whole = told.mass !== null && told.pivot !== null && told.period !== null;
    const inertia = whole ? inertiaOf(told) : null;
    const { state, words } = this.verdict(told, inertia);
    const out = (name, text) => say(this.root.querySelector(`[data-out="${name}"]`), text);
    out("period", told.period === null ? "—" : `${figure(told.period, 3)} s`);
    out("inertia", state === "ok" ? `${figure(inertia, 4)} kg m²` : "—");
    out("balance", told.balance === null ? "—" : `${figure(1000 * told.balance)} mm`);
    const said = this.root.querySelector(".said");
    said.dataset.state = state;
    say(said, `${STATES[state].shape} ${STATES[state].word}: ${words}`);
    this.inertia = state === "ok" ? inertia : null;
    this.keep.disabled = state !== "ok" || this.missing(told).length > 0;
  }

  verdict(told, inertia) {
    if (told.fault) return { state: "wrong", words: told.fault };
    if (inertia === null) return { state: "unknown", words: "enter mass, distances and time" };
    // The pendulum of a point is the quickest there can be: below it something was read wrong.
    if (inertia < INERTIA.least) return { state: "wrong", words: `no club swings as quickly as that: measure the distance again, and count ${SWINGS} swings forth and back` };
    if (inertia > INERTIA.most) return { state: "wrong", words: `no club swings as slowly as that (${figure(inertia, 2)} kg m²): it rubs, or more than ${SWINGS} swings were counted` };
    const missing = this.missing(told);
    if (missing.length) return { state: "ok", words: `to put it on file, ${list(missing)}` };
    return { state: "ok", words: "put it on file: work and power of the hands then rest on it instead of an assumed club" };
  }

  // What is still to be told before the club can be filed.
  missing({ balance }) {
    return [balance === null && "measure its balance point", !this.student.value && "choose the student", !this.fields.name.value.trim() && "name the club"].filter(Boolean);
  }

  async file() {
    const { mass, balance } = this.read();
    const club = { name: this.fields.name.value.trim(), mass_kg: mass, balance_m: balance, inertia_kg_m2: this.inertia };
    this.keep.disabled = true;
    const done = this.root.querySelector(".filed");
    try {
      await send("POST", `students/${encodeURIComponent(this.student.value)}/clubs`, club);
      say(done, `● ${club.name} is on file for ${this.student.selectedOptions[0].textContent}, with ${figure(1000 * mass)} g, ${figure(1000 * balance)} mm and ${figure(club.inertia_kg_m2, 4)} kg m²: choose it on the Lesson page.`);
      // Ready for the next club; nothing is filed twice.
      for (const field of Object.values(this.fields)) field.value = "";
      this.show();
    } catch (error) {
      say(done, `■ ${error.message}`);
      this.keep.disabled = false;
    }
  }
}
