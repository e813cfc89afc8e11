// Months of one club: medians and quartiles of blocks, what moved together with head speed (association,
// never cause), what golfers of the archive do, or why that is not shown, and what separates two groups of them.

import { el, svg } from "../element.js";
import { difference, gap, inUnits, scaleOf, shown } from "../figures.js";
import { metricName, quantity } from "../quantities.js";
import { get, part } from "./api.js";
import { day } from "./dates.js";
import { options } from "./dom.js";
import { Groups } from "./groups.js";

const SPEED = "head_speed@impact";
const [WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM] = [920, 300, 64, 20, 16, 58];
const FEW = 8;
// Golfers that make a cohort.
const FEWEST = 20;
const LEAST_TICKS = 4;

export class Trends {
  constructor(root, students, metrics, units) {
    Object.assign(this, { root, students, metrics, units, metric: SPEED, student: "", club: "" });
    this.form = el("form.filters", { onchange: () => this.read(), onsubmit: (e) => e.preventDefault() });
    this.parts = Object.fromEntries(["trend", "together", "cohort"].map((name) => [name, el(`section.${name}`, {})]));
    const groups = el("section.separates", { "aria-label": "What separates two groups" });
    this.groups = new Groups(groups, students, units);
    root.replaceChildren(this.form, this.parts.trend, el(".beside", {}, this.parts.together, this.parts.cohort), groups);
  }

  /** Opens the page of a student's club; what is empty stays as it is. */
  show(student = "", club = "") {
    const known = this.students.get(student || this.student) ?? [...this.students.values()].toSorted((p, q) => q.lessons - p.lessons)[0];
    if (!known) {
      this.root.replaceChildren(el("p.dim", {}, "No student is on file."));
      return;
    }
    this.student = known.id;
    this.club = known.clubs.some((c) => c.id === (club || this.club)) ? club || this.club : known.clubs[0]?.id ?? "";
    const field = (words, input) => el("label", {}, el("span", {}, words), input);
    this.form.replaceChildren(
      field("Student", el("select", { name: "student" }, options([...this.students.values()].map((s) => [s.id, s.name]), this.student))),
      field("Club", el("select", { name: "club" }, options(known.clubs.map((c) => [c.id, c.name]), this.club))),
      field("Metric", el("select", { name: "metric" }, options(this.metrics.filter((m) => m.unit !== "code").map((m) => [m.id, metricName(m.id)]), this.metric))));
    this.load(known);
  }

  read() {
    const { student, club, metric } = Object.fromEntries(new FormData(this.form));
    this.metric = metric;
    this.show(student, student === this.student ? club : "");
  }

  setUnits(units) {
    this.units = units;
    this.groups.setUnits(units);
    if (this.student) this.show();
  }

  async load(student) {
    const club = student.clubs.find((c) => c.id === this.club);
    if (!club) {
      for (const one of Object.values(this.parts)) one.replaceChildren();
      this.parts.trend.replaceChildren(el("p.dim", {}, "This student has no club on file."));
      return;
    }
    const turn = (this.turn = {});
    const fill = async (name, title, ask, draw) => {
      const content = await ask.then(draw).catch((error) => el("p.problem", {}, error.message));
      if (this.turn === turn) this.parts[name].replaceChildren(el("h2", {}, title), ...[content].flat(2).filter(Boolean));
    };
    const golfers = get("cohorts", { club: club.name, side: student.side, student: student.id, metrics: this.metric });
    // A trend stands without its ribbon where there is none.
    const behind = golfers.catch(() => null);
    await Promise.all([
      fill("trend", `${metricName(this.metric)}, ${club.name}`, get(`clubs/${part(club.id)}/trends/${part(this.metric)}`), async (t) => this.trend(t, (await behind)?.bands[0])),
      fill("together", "What moved together with head speed", get(`clubs/${part(club.id)}/together`), (t) => this.together(t)),
      fill("cohort", "Golfers of this archive", golfers, (c) => this.cohort(c, student)),
      this.groups.show(student, club.name),
    ]);
  }

  trend(trend, band) {
    const words = el("p", {}, inUnits(trend.words, this.units));
    if (trend.points.length === 0) return [el("p.dim", {}, "No block of this club has measured it."), words];
    return [words, chart(trend, this.units, band), el("p.fine", {}, "○ baseline  △ practice  ■ check: median of a block; the bar reaches from its first to its third quartile."),
      band && el("p.fine", {}, `Gray ribbon: four of five of the ${band.golfers} golfers of this archive, dashed their middle. What they do is no aim.`)];
  }

  together(told) {
    // The head's own speeds go with head speed by themselves and teach nothing.
    const rows = told.rows.filter((row) => !row.metric.startsWith("head_speed"));
    const found = rows.filter((row) => row.found);
    const line = (row) => el("tr", { class: row.found ? "real" : null },
      el("th", { scope: "row" }, el(".metric", {}, el("span.flag", { "aria-hidden": "true" }, row.found ? "●" : "○"), el("span", {}, metricName(row.metric)))),
      el("td", {}, this.slope(row, row.slope)), el("td.dim", {}, [row.low, row.high].map((v) => this.slope(row, v).split(" ")[0]).join(" to ")), el("td", {}, String(row.shots)));
    const table = (rows) => el("table.differences", {}, el("thead", {}, el("tr", {}, ["Metric", "head speed with it", "95 % interval", "shots"].map((w) => el("th", { scope: "col" }, w)))), el("tbody", {}, rows.map(line)));
    const rest = rows.filter((row) => !row.found);
    return [el("p", {}, told.words),
      found.length > 0 ? table(found) : el("p.dim", {}, rows.length ? "Nothing was found that is more than chance." : "There are too few shots to look."),
      rest.length > 0 && el("details", {}, el("summary", {}, "Looked at, not more than chance"), table(rest.slice(0, 3 * FEW)))];
  }

  // Meters a second for each unit of the metric, as a person reads both: for each 10 cm, for each 10°.
  slope(row, value) {
    const [factor, label] = scaleOf(quantity(row.metric).share ? "share" : row.unit, this.units);
    const step = label === "cm" || label === "°" || label === "%" || label === "ms" ? 10 : label === "°/s" ? 100 : 1;
    return `${difference((value * step) / factor, "m/s", this.units)} per ${step}${gap(label)}`;
  }

  cohort(told, student) {
    const [band] = told.bands;
    const value = (v) => {
      const { digits, unit } = shown(v, band.unit, this.units);
      return digits + gap(unit);
    };
    if (!band) return [el("p", {}, told.words), told.golfers >= FEWEST && el("p.dim", {}, "Fewer than twenty golfers show this metric.")];
    const known = ([at, from, to]) => `${value(at)} (${value(from)} to ${value(to)})`;
    return [el("p", {}, told.words), el("dl.facts", {},
      [["Golfers", String(band.golfers)], ["Tenth of a hundred", known(band.low)], ["Middle", known(band.middle)], ["Ninetieth of a hundred", known(band.high)],
        band.student && [student.name, `${difference(band.student[0], band.unit, this.units)} against the middle (${difference(band.student[1], band.unit, this.units)} to ${difference(band.student[2], band.unit, this.units)})`]]
        .filter(Boolean).map(([term, words]) => [el("dt", {}, term), el("dd", {}, words)]))];
  }
}

// Blocks stand one after the other, whatever lies between them: blocks of a lesson are minutes apart, lessons
// are weeks apart. The date stands under the first block of a day.
function chart(trend, units, band) {
  const { points } = trend;
  const unit = quantity(trend.metric).share ? "share" : trend.unit;
  const [factor, , decimals] = scaleOf(unit, units);
  const [from, to] = [Math.min(...points.map((p) => p.low)), Math.max(...points.map((p) => p.high))];
  // Ticks that read alike say nothing; and what golfers do is background: the student's own way stays readable.
  const span = Math.max(to - from, LEAST_TICKS * 10 ** -decimals / factor);
  const within = (v, wide) => Math.min(Math.max(v, (from + to) / 2 - wide * span), (from + to) / 2 + wide * span);
  const around = band ? [within(band.low[0], 1.5), within(band.high[0], 1.5)] : [];
  const [least, most] = [Math.min(from, within(-Infinity, 0.5), ...around), Math.max(to, within(Infinity, 0.5), ...around)];
  const room = (most - least) * 0.12;
  const [low, high] = [least - room, most + room];
  const x = (i) => LEFT + ((i + 0.5) * (WIDTH - LEFT - RIGHT)) / points.length;
  const y = (v) => HEIGHT - BOTTOM - ((Math.min(Math.max(v, low), high) - low) / (high - low)) * (HEIGHT - TOP - BOTTOM);
  const marks = [least, (least + most) / 2, most];
  const label = shown(0, unit, units).unit;
  let date = "";
  return svg("svg.chart", { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, role: "img", "aria-label": trend.words },
    band && [svg("rect.golfers", { x: LEFT, width: WIDTH - LEFT - RIGHT, y: y(band.high[0]), height: y(band.low[0]) - y(band.high[0]) }),
      band.middle[0] > low && band.middle[0] < high && svg("line.middle", { x1: LEFT, x2: WIDTH - RIGHT, y1: y(band.middle[0]), y2: y(band.middle[0]) })],
    marks.map((v) => [svg("line.grid", { x1: LEFT, x2: WIDTH - RIGHT, y1: y(v), y2: y(v) }), svg("text.scale", { x: LEFT - 8, y: y(v) + 4, "text-anchor": "end" }, shown(v, unit, units).digits)]),
    svg("text.scale", { x: 4, y: 12 }, label),
    svg("path.way", { d: points.map((p, i) => `${i ? "L" : "M"}${x(i)} ${y(p.median)}`).join("") }),
    points.map((p, i) => {
      const when = day(p.began_utc_ns);
      const fresh = when !== date;
      date = when;
      return svg("g", {}, svg("title", {}, `${p.purpose}, ${when}: ${shown(p.median, unit, units).digits}${gap(label)}, ${p.shots} shots`),
        svg("line.quartiles", { x1: x(i), x2: x(i), y1: y(p.low), y2: y(p.high) }), mark(p.purpose, x(i), y(p.median)),
        svg("text.scale", { x: x(i), y: HEIGHT - BOTTOM + 18, "text-anchor": "middle" }, `${p.shots} ${p.shots === 1 ? "shot" : "shots"}`),
        fresh && svg("text.scale", { x: x(i), y: HEIGHT - BOTTOM + 38, "text-anchor": "middle" }, when));
    }));
}

function mark(purpose, x, y) {
  if (purpose === "check") return svg("rect.mark", { x: x - 6, y: y - 6, width: 12, height: 12 });
  if (purpose === "practice") return svg("path.mark.open", { d: `M${x} ${y - 8}L${x + 8} ${y + 6}L${x - 8} ${y + 6}Z` });
  return svg("circle.mark.open", { cx: x, cy: y, r: 6.5 });
}
