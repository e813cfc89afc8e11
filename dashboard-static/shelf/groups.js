// What separates two groups of the archive's golfers: who is in either, and a table of how far each metric is
// apart, widest first. What a group is made of is asked of the API; nothing is computed here.

import { el, svg } from "../element.js";
import { scaleOf } from "../figures.js";
import { readNumber } from "../number.js";
import { metricName } from "../quantities.js";
import { inWords } from "../words.js";
import { get } from "./api.js";
import { options } from "./dom.js";

const WIDE = 160;
const SPEED = "head_speed@impact";
const NAMES = ["a", "b"];

export class Groups {
  constructor(root, students, units) {
    Object.assign(this, { root, students, units, student: "", groups: null });
    this.form = el("form.groups-asked", { onchange: () => this.read(), onsubmit: (e) => e.preventDefault() });
    this.found = el("div.found", { role: "status" });
    root.replaceChildren(el("h2", {}, "What separates two groups"), this.form, this.found);
  }

  /** Opens it beside a student, who is in neither group; at first slower and faster golfers with the same club. */
  async show(student, club) {
    this.student = student.id;
    if (!this.groups) {
      this.groups = { a: { club }, b: { club } };
      const middle = await this.middle(club);
      this.groups.a.speed_to = this.groups.b.speed_from = middle;
    }
    this.build();
    await this.load();
  }

  setUnits(units) {
    this.units = units;
  }

  // The middle head speed, m/s, where there are golfers enough for one.
  async middle(club) {
    const told = await get("cohorts", { club, student: this.student, metrics: SPEED }).catch(() => null);
    const middle = told?.bands[0]?.middle[0];
    return middle === undefined ? "" : Number(middle.toFixed(1));
  }

  build() {
    const clubs = [...new Set([...this.students.values()].flatMap((s) => s.clubs.map((c) => c.name)))].sort();
    const [factor, label] = scaleOf("m/s", this.units);
    const field = (words, input) => el("label", {}, el("span", {}, words), input);
    const number = (name, value) => el("input", { name, type: "text", inputmode: "decimal", autocomplete: "off", "data-least": 0, value: value ?? "" });
    const speed = (v) => (v === undefined || v === "" ? "" : Number((v * factor).toFixed(1)));
    const group = (name) => {
      const of = this.groups[name];
      return el("fieldset.filters", {}, el("legend", {}, `Group ${name.toUpperCase()}`),
        field("Club", el("select", { name: `${name}_club` }, options([["", "any club"], ...clubs.map((c) => [c, c])], of.club))),
        field("Sex", el("select", { name: `${name}_sex` }, options([["", "any"], ["female", "female"], ["male", "male"]], of.sex))),
        field("Side", el("select", { name: `${name}_side` }, options([["", "either"], ["right", "right-handed"], ["left", "left-handed"]], of.side))),
        field(`Head speed from, ${label}`, number(`${name}_speed_from`, speed(of.speed_from))),
        field(`Head speed below, ${label}`, number(`${name}_speed_to`, speed(of.speed_to))),
        field("Age from", number(`${name}_age_from`, of.age_from)),
        field("Age to", number(`${name}_age_to`, of.age_to)));
    };
    this.form.replaceChildren(...NAMES.map(group));
  }

  read() {
    const said = new FormData(this.form);
    const [factor] = scaleOf("m/s", this.units);
    let fault = null;
    for (const name of NAMES) {
      for (const field of ["club", "sex", "side", "age_from", "age_to", "speed_from", "speed_to"]) {
        const text = said.get(`${name}_${field}`);
        const figure = /_(from|to)$/.test(field) ? readNumber(this.form.elements[`${name}_${field}`]) : null;
        fault ??= figure?.fault;
        this.groups[name][field] = figure ? figure.value === null ? "" : field.startsWith("speed") ? figure.value / factor : figure.value : text;
      }
    }
    if (fault) this.found.replaceChildren(el("p.problem", {}, fault));
    else this.load();
  }

  async load() {
    const turn = (this.turn = {});
    const asked = { student: this.student };
    for (const name of NAMES) for (const [field, value] of Object.entries(this.groups[name])) asked[`${name}_${field}`] = value;
    const content = await get("cohorts/separates", asked).then((told) => this.table(told), (error) => [el("p.problem", {}, error.message)]);
    if (this.turn === turn) this.found.replaceChildren(...content);
  }

  table(told) {
    if (told.rows.length === 0) return [el("p", {}, told.words)];
    const found = told.rows.filter((row) => row.found);
    const rest = told.rows.filter((row) => !row.found);
    const heads = ["Metric", "A", "B", "in B against A", "delta, 95 % interval", "q"];
    const table = (rows) => el(".scroll-wide", { tabindex: "0", role: "region", "aria-label": "What separates the groups" }, el("table.differences", {},
      el("thead", {}, el("tr", {}, heads.map((words) => el("th", { scope: "col" }, words)))),
      el("tbody", {}, rows.map((row) => this.row(row)))));
    const [a, b] = told.golfers;
    const said = found.length === 0 ? `None of ${told.rows.length} metrics separates them by more than chance.` : `${found.length} of ${told.rows.length} metrics ${found.length === 1 ? "separates" : "separate"} them by more than chance.`;
    return [el("p", {}, el("b", {}, `${a} golfers in A, ${b} in B. ${said}`)), el("p", {}, told.words),
      found.length > 0 && table(found),
      el("p.fine", {}, "Dot: how often a golfer of B has the larger value than one of A, less how often the smaller one: right always (+1), middle as often (0), left never (−1). Bar: 95 % interval. A and B: the middle golfer. q: adjusted for how many metrics were looked at; up to 0.05 counts as more than chance."),
      rest.length > 0 && el("details", {}, el("summary", {}, "Looked at, not more than chance"), table(rest))].filter(Boolean);
  }

  row(row) {
    const value = (v) => inWords(row.metric, v, row.unit, this.units).replace(/ (% body weight(\/s)?)$/, "");
    const delta = (v) => `${v > 0.005 ? "+" : v < -0.005 ? "−" : ""}${Math.abs(v).toFixed(2)}`;
    const x = (v) => WIDE / 2 + v * (WIDE / 2 - 6);
    const words = `${delta(row.delta)}, ${delta(row.low)} to ${delta(row.high)}`;
    return el("tr", { class: row.found ? "real" : null, "data-metric": row.metric },
      el("th", { scope: "row" }, el(".metric", {}, el("span.flag", { "aria-hidden": "true" }, row.found ? "●" : "○"), el("span.hidden", {}, row.found ? "more than chance: " : "not more than chance: "), el("span", {}, metricName(row.metric)))),
      el("td", {}, value(row.medians[0])), el("td", {}, value(row.medians[1])),
      el("td", {}, svg("svg.whisker.wide", { viewBox: `0 0 ${WIDE} 16`, role: "img", "aria-label": words },
        svg("line.zero", { x1: WIDE / 2, x2: WIDE / 2, y1: 1, y2: 15 }),
        svg("line.reach", { x1: x(row.low), x2: x(row.high), y1: 8, y2: 8 }),
        svg("circle.mean", { cx: x(row.delta), cy: 8, r: 4 }))),
      el("td.by", {}, words),
      el("td.among", {}, row.q < 0.001 ? "under 0.001" : row.q.toFixed(3)));
  }
}
