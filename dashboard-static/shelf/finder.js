// Finding: lessons with their blocks, and swings by student, club, date, purpose, kind, tag, leak and the range
// of a metric. What is found is opened as A or as B by whoever listens.

import { el } from "../element.js";
import { inWords, scaleOf } from "../words.js";
import { readNumber } from "../number.js";
import { metricName } from "../quantities.js";
import { get } from "./api.js";
import { day, exactTime, clockTime, startOf } from "./dates.js";
import { options } from "./dom.js";

const PURPOSES = [["", "any purpose"], ["baseline", "baseline"], ["practice", "practice"], ["check", "check"]];
const KINDS = [["", "any kind"], ["shot", "shots"], ["rehearsal", "rehearsals"], ["swing", "swings"], ["partial", "partial swings"]];
// Identifiers of the daemon; its names are the same words.
const LEAKS = ["wrong_way_first", "legs_held_still", "not_brought_through", "standing_up", "stretch_kept", "arms_wait", "trail_foot_late", "no_counter_movement"];
const SPEED = "head_speed@impact";

export class Finder {
  /** @param {(side: string, pick: object) => void} opened */
  constructor({ form, lessons, swings, students, metrics, units, opened }) {
    Object.assign(this, { form, lessonList: lessons, swingList: swings, students, metrics, units, opened, zones: new Map() });
    this.build();
    form.onsubmit = (e) => {
      e.preventDefault();
      this.find();
    };
    form.onchange = () => this.find();
  }

  build() {
    const everyone = [["", "every student"], ...[...this.students.values()].map((s) => [s.id, s.name])];
    const clubs = [...new Set([...this.students.values()].flatMap((s) => s.clubs.map((c) => c.name)))].sort();
    const field = (words, input) => el("label", {}, el("span", {}, words), input);
    this.form.replaceChildren(
      field("Student", el("select", { name: "student" }, options(everyone))),
      field("Club", el("select", { name: "club" }, options([["", "any club"], ...clubs.map((c) => [c, c])]))),
      field("From", el("input", { name: "from", type: "date" })),
      field("Until", el("input", { name: "to", type: "date" })),
      el("details", {}, el("summary", {}, "More"),
        field("Block", el("select", { name: "purpose" }, options(PURPOSES))),
        field("Kind", el("select", { name: "kind" }, options(KINDS))),
        field("Tag", el("input", { name: "tag", type: "text", autocomplete: "off" })),
        field("Leak", el("select", { name: "leak" }, options([["", "with or without"], ...LEAKS.map((id) => [id, id.replaceAll("_", " ")])]))),
        field("Metric", el("select", { name: "metric" }, options([["", "any value"], ...this.metrics.map((m) => [m.id, metricName(m.id)])]))),
        el(".pair", {}, field("from", el("input", { name: "min", type: "text", autocomplete: "off" })), field("to", el("input", { name: "max", type: "text", autocomplete: "off" })), el("span.unit", {}))),
    );
  }

  /** What the form says, as a question to the API. */
  question() {
    const { student, club, from, to, purpose, kind, tag, leak, metric } = Object.fromEntries(new FormData(this.form));
    const asked = this.metrics.find((m) => m.id === metric);
    const [factor, label] = asked ? scaleOf(asked.unit, this.units) : [1, ""];
    this.form.querySelector(".unit").textContent = label;
    const [min, max] = ["min", "max"].map((name) => readNumber(this.form.elements[name]));
    this.fault = min.fault ?? max.fault;
    const inside = ({ value }) => (asked && value !== null ? String(value / factor) : "");
    const range = { metric: inside(min) || inside(max) ? metric : "", min: inside(min), max: inside(max), metrics: metric };
    return { student, club, purpose, kind, leak, tag: tag.trim(), from: startOf(from), to: startOf(to, 1), ...range };
  }

  choose(student) {
    this.form.elements.student.value = student;
  }

  async find() {
    const asked = this.question();
    const turn = (this.turn = {});
    if (this.fault) return this.swingList.replaceChildren(el("p.problem", {}, this.fault));
    const still = () => this.turn === turn;
    await Promise.all([
      this.page(this.lessonList, () => get("sessions", { student: asked.student }), (next) => get("sessions", { student: asked.student, before: next }), (p) => p.sessions.map((s) => this.lesson(s)), "no lesson yet", still),
      this.page(this.swingList, () => get("swings", asked), (next) => get("swings", { ...asked, before: next }), (p) => p.swings.map((s) => this.swing(s, asked.metrics)), "no swing fits", still),
    ]);
  }

  // A page and, at its end, a button for the next one.
  async page(root, first, then, lines, nothing, still = () => true) {
    const add = async (ask, button) => {
      try {
        const page = await ask();
        if (!still()) return;
        button?.remove();
        if (!button) root.replaceChildren();
        root.append(...lines(page));
        if (!root.children.length) root.append(el("p.dim", {}, nothing));
        if (page.next) root.append(more(() => then(page.next)));
      } catch (error) {
        if (still()) root.replaceChildren(el("p.problem", {}, error.message));
      }
    };
    const more = (ask) => {
      const button = el("button.more", { type: "button", onclick: () => add(ask, button) }, "Older ones");
      return button;
    };
    await add(first, null);
  }

  lesson(session) {
    this.zones.set(session.id, session.zone);
    const swings = el(".inner", {});
    const fill = () => {
      if (swings.childElementCount) return;
      const ask = (before) => get("swings", { session: session.id, before });
      this.page(swings, () => ask(), ask, (p) => p.swings.map((s) => this.swing(s)), "no swing in it");
    };
    const made = el("details.lesson", { "data-session": session.id },
      el("summary", {}, el("b", {}, `${day(session.began_utc_ns, session.zone)}, ${clockTime(session.began_utc_ns, session.zone)}`), el("span", {}, `${session.name} · ${session.swings} swings`)),
      el("p", {}, el("a", { href: `/shelf?report=${encodeURIComponent(session.id)}` }, "Report to take home")),
      session.blocks.filter((b) => b.shots > 0).map((b) => this.row({ of: "block", id: String(b.id) }, `Block ${b.number}, ${b.purpose}`, `${b.shots} ${b.shots === 1 ? "shot" : "shots"}`)),
      swings);
    made.ontoggle = () => made.open && fill();
    return made;
  }

  swing(line, metric = "") {
    const when = `${day(line.impact_utc_ns, this.zones.get(line.session))} ${exactTime(line.impact_utc_ns, this.zones.get(line.session))}`;
    const value = (id) => {
      const unit = this.metrics.find((m) => m.id === id)?.unit;
      return line.values[id] != null && unit ? inWords(id, line.values[id], unit, this.units) : "";
    };
    const facts = [value(SPEED), metric && metric !== SPEED ? value(metric) : "", line.club, line.purpose, line.kind !== "shot" && line.kind, line.excluded && `does not count: ${line.excluded}`, ...line.tags.map((t) => `#${t}`)];
    return this.row({ of: "swing", id: line.id }, when, facts.filter(Boolean).join(" · "), line.excluded ? "row.excluded" : "row");
  }

  row(pick, title, detail, spec = "row") {
    const open = (side) => el("button.pick", { type: "button", "aria-label": `open ${title} as ${side.toUpperCase()}`, "data-side": side, onclick: () => this.opened(side, pick) }, side.toUpperCase());
    return el(`.${spec}`, { "data-of": pick.of, "data-id": pick.id }, el("p", {}, el("b", {}, title), el("span", {}, detail)), open("a"), open("b"));
  }
}
