// The curves of both swings: small multiples on the time of the clock, each with event lines and a cursor
// that goes with the figures; a tap goes to the moment. The four segment speeds stand in lanes of their own.

import { el } from "../element.js";
import { gap, shown } from "../figures.js";
import { say } from "../page.js";
import { quantity } from "../quantities.js";
import { colorsNow } from "../theme.js";
import { toggle } from "./dom.js";
import { LEFT, RIGHT, drawLane } from "./lane.js";
import { KNOTS } from "./clock.js";

const LONG = [12, 5];
const SHORT = [4, 4];
const lane = (id, name = "", look = {}) => ({ id, name, color: "ink", ...look });
const GROUPS = [
  { title: "Arrival order: turning speeds", lanes: [
    lane("angular_speed.pelvis", "Pelvis", { color: "pelvis", dash: LONG }),
    lane("angular_speed.thorax", "Thorax", { color: "thorax" }),
    lane("angular_speed.lead_arm", "Lead arm", { color: "lead_arm", dash: SHORT }),
    lane("angular_speed.club", "Club", { color: "club", width: 3.2 }),
  ] },
  { title: "Rotation", lanes: [
    lane("pelvis_rotation", "", { color: "pelvis", dash: LONG }), lane("thorax_rotation", "", { color: "thorax" }),
    lane("separation"), lane("thorax_side_inclination"),
  ] },
  { title: "Shift and rise", lanes: [lane("pelvis_shift"), lane("pelvis_rise"), lane("head_shift"), lane("mass_centre_shift")] },
  { title: "Knees, hinge, speed", lanes: [
    lane("knee_flexion.lead"), lane("knee_flexion.trail", "", { dash: SHORT }), lane("hinge", "Wrist hinge"), lane("head_speed"),
  ] },
  { title: "Ground", lanes: [lane("vertical_force.lead"), lane("vertical_force.trail", "", { dash: SHORT }), lane("cop_lead_share")] },
];
const SIDES = ["a", "b"];

export class CurveSheet {
  constructor(root, clock, units) {
    Object.assign(this, { root, clock, units, shown: {}, zoom: false, lanes: [], ribbonOf: "a" });
    clock.listen({ moment: () => this.point(), setting: () => this.fit() });
    this.observer = new ResizeObserver(() => this.fit());
  }

  /** Takes what was opened on each side. */
  show(shown) {
    this.shown = shown;
    this.build();
    this.fit();
  }

  setUnits(units) {
    this.units = units;
    this.fit();
  }

  build() {
    this.lanes = [];
    this.observer.disconnect();
    const groups = GROUPS.map((group) => this.group(group)).filter(Boolean);
    const setZoom = (zoom) => {
      this.zoom = zoom;
      this.build();
      this.fit();
    };
    const setRibbon = (side) => {
      this.ribbonOf = side;
      this.build();
      this.fit();
    };
    const ribbons = SIDES.filter((side) => this.shown[side]?.ribbons?.signals.some((s) => s.shots > 1));
    const key = this.shown.b ? "gray line A · colored line B · dashed uprights where B's events differ" : "";
    this.root.replaceChildren(
      el(".tools", {}, el("h2", {}, "Curves"),
        el(".choice", { role: "group", "aria-label": "Stretch of time" }, toggle("whole swing", !this.zoom, () => setZoom(false)), toggle("top to impact", this.zoom, () => setZoom(true))),
        ribbons.length > 0 && el(".choice", { role: "group", "aria-label": "Gray ribbon" },
          ribbons.map((side) => toggle(`ribbon: block of ${side.toUpperCase()}`, this.ribbonOf === side, () => setRibbon(this.ribbonOf === side ? "" : side)))),
        el("p.key", {}, key, ribbons.includes(this.ribbonOf) ? " · gray ribbon: the block's mean ± standard deviation" : "")),
      el(".groups", {}, groups),
    );
    for (const group of groups) this.observer.observe(group);
  }

  group({ title, lanes }) {
    const made = lanes.filter(({ id }) => SIDES.some((side) => this.signal(side, id))).map((one) => this.lane(one));
    if (made.length === 0) return null;
    const cursor = el(".cursor", {});
    const events = el(".events", {});
    const field = el(".field", { title: "tap: to this moment" }, made.map((m) => m.root), cursor);
    field.onclick = (e) => this.tap(e, field);
    this.lanes.push(...made.map((m) => ({ ...m, cursor, events, field })));
    return el("section.group", {}, el("h3", {}, title), events, field);
  }

  lane(one) {
    const name = one.name || quantity(one.id).name;
    const value = el("b", {});
    const canvas = el("canvas", { role: "img", "aria-label": `${name} over time`, "data-signal": one.id });
    return { ...one, canvas, value, root: el(".lane", {}, el("p.name", {}, el("span", {}, name), value), canvas) };
  }

  signal(side, id) {
    return this.shown[side]?.curves.signals.find((s) => s.id === id);
  }

  get range() {
    const { clock } = this;
    const { top, impact } = this.shown.a?.events ?? {};
    return this.zoom && top !== undefined ? [top - 0.06, (impact ?? 0) + 0.06] : [clock.from, clock.to];
  }

  /** Draws every lane anew. */
  fit() {
    if (!this.shown.a) return;
    const colors = colorsNow();
    const [from, to] = this.range;
    const events = Object.fromEntries(SIDES.filter((s) => this.shown[s]).map((s) => [s,
      Object.fromEntries(Object.entries(this.shown[s].events).map(([name, at]) => [name, this.clock.whenIs(s, at)]))]));
    if (events.b) for (const [name, at] of Object.entries(events.b)) if (Math.abs(at - (events.a[name] ?? 1e9)) < 0.004) delete events.b[name];
    for (const one of this.lanes) {
      const unit = (this.signal("a", one.id) ?? this.signal("b", one.id)).unit;
      const lines = Object.fromEntries(SIDES.filter((s) => this.signal(s, one.id)).map((s) => [s, this.course(s, one.id)]));
      drawLane(one.canvas, one, { lines, ribbon: this.ribbon(one.id), peaks: this.peaks(one.id), events, from, to, unit, units: this.units }, colors);
      this.mark(one.events, events.a, from, to);
    }
    this.point();
  }

  course(side, id) {
    const { curves } = this.shown[side];
    return this.signal(side, id).values.map((value, i) => [this.clock.whenIs(side, curves.start_s + i / curves.rate_hz), value]);
  }

  // Phases of the ribbon laid between the events of the swing whose block it is.
  ribbon(id) {
    const side = this.ribbonOf;
    const { ribbons, events } = this.shown[side] ?? {};
    const signal = ribbons?.signals.find((s) => s.id === id);
    if (!signal || signal.shots < 2) return null;
    const ends = KNOTS.map((k) => events[k]);
    return signal.mean.map((mean, i) => {
      const phase = Math.floor(i / ribbons.places);
      const share = (i % ribbons.places) / (ribbons.places - 1);
      const at = ends[phase] + share * (ends[phase + 1] - ends[phase]);
      const known = mean !== null && signal.sd[i] != null && Number.isFinite(at);
      return [Number.isFinite(at) ? this.clock.whenIs(side, at) : 0, known ? mean : null, signal.sd[i] ?? 0];
    });
  }

  peaks(id) {
    const [what, segment] = id.split(".");
    if (what !== "angular_speed") return null;
    const found = SIDES.map((side) => [side, this.peak(side, segment)]).filter(([, p]) => p);
    return Object.fromEntries(found);
  }

  peak(side, segment) {
    const metrics = this.shown[side]?.report.measurement.metrics ?? {};
    const [size, when] = [metrics[`angular_speed_peak.${segment}`], metrics[`angular_speed_peak_time.${segment}`]];
    if (size?.value == null || when?.value == null) return null;
    const at = (ms) => this.clock.whenIs(side, -ms / 1000);
    const { low, high } = when.uncertainty ?? {};
    return { value: size.value, time: at(when.value), ...(low != null ? { low: at(high), high: at(low) } : {}) };
  }

  mark(root, events = {}, from, to) {
    if (root.dataset.drawn === `${from} ${to} ${events.top}`) return;
    root.dataset.drawn = `${from} ${to} ${events.top}`;
    const words = { takeaway_end: "takeaway end", top: "top", impact: "impact" };
    root.replaceChildren(...Object.entries(words).filter(([name]) => events[name] >= from && events[name] <= to).map(([name, text]) => {
      const mark = el(`span.${name}`, {}, text);
      mark.style.left = this.place(events[name], from, to);
      return mark;
    }));
  }

  place(time, from, to) {
    const share = (time - from) / (to - from);
    return `calc(${LEFT}px + ${share} * (100% - ${LEFT + RIGHT}px))`;
  }

  /** Cursor and numbers at the moment of the clock. */
  point() {
    if (!this.shown.a) return;
    const [from, to] = this.range;
    const { time } = this.clock;
    for (const one of this.lanes) {
      one.cursor.hidden = time < from || time > to;
      one.cursor.style.left = this.place(time, from, to);
      say(one.value, SIDES.map((side) => this.valueAt(side, one.id)).filter(Boolean).join("   "));
    }
  }

  valueAt(side, id) {
    const signal = this.signal(side, id);
    if (!signal) return "";
    const { curves } = this.shown[side];
    const value = signal.values[Math.round((this.clock.momentOf(side) - curves.start_s) * curves.rate_hz)];
    const said = value == null ? "—" : shown(value, signal.unit, this.units);
    return `${this.shown.b ? `${side.toUpperCase()} ` : ""}${said === "—" ? said : said.digits + gap(said.unit)}`;
  }

  tap(event, field) {
    const box = field.getBoundingClientRect();
    const share = (event.clientX - box.left - LEFT) / (box.width - LEFT - RIGHT);
    const [from, to] = this.range;
    this.clock.go(from + Math.min(Math.max(share, 0), 1) * (to - from));
  }
}
