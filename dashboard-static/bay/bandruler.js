// A metric's ruler: a horizontal scale in the metric's own unit, the band as a bracket with its aim, shots
// as marks. Low values are left. Plain elements placed by percent, so that they follow the width.

const SVG = "http://www.w3.org/2000/svg";
// How much the ruler shows at the least, by unit of the value.
const LEAST = { m: 0.03, mm: 10, deg: 10, "m/s": 3, s: 0.1, ms: 40, ratio: 0.4, "%": 20, "%BW": 20 };
// Outside a band the ruler shows three quarters of its width on both sides.
const AROUND = 0.75;
// An aim nearer than this to an edge has no room for its words.
const NARROW = 0.16;
// So that a mark at the end is not cut.
const PAD = 0.05;
const SHAPES = {
  in: ["circle", { cx: 10, cy: 10, r: 7.5, class: "full" }],
  not_judged: ["circle", { cx: 10, cy: 10, r: 7.5, class: "open" }],
  low: ["polygon", { points: "2,4 18,4 10,17.5", class: "open" }],
  high: ["polygon", { points: "2,16 18,16 10,2.5", class: "open" }],
  plain: ["rect", { x: 7, y: 1, width: 6, height: 18, class: "full" }],
};

/** From where to where a ruler shows values; `null` when there is nothing to show. */
export function scaleOf(band, values, unit) {
  const edges = band ? [band.low, band.aim, band.high].filter((v) => v != null) : [];
  const all = [...edges, ...values];
  if (!all.length) return null;
  const [lowest, highest] = [Math.min(...all), Math.max(...all)];
  const both = band?.low != null && band?.high != null;
  const room = both ? AROUND * (band.high - band.low) : Math.max((highest - lowest) / 2, reach(unit, highest, lowest) / 2);
  const from = Math.min(lowest, (both ? band.low : lowest) - room);
  const to = Math.max(highest, (both ? band.high : highest) + room);
  const pad = PAD * (to - from);
  return { from: from - pad, to: to + pad };
}

const reach = (unit, ...ends) => LEAST[unit] ?? (0.2 * Math.max(...ends.map(Math.abs)) || 1);

/** Owns the elements of one ruler. */
export class BandRuler {
  constructor(root) {
    this.root = root;
    this.now = root.appendChild(make("i", "live"));
    this.now.hidden = true;
  }

  /** Draws band and marks; `marks` newest first with `age` 0 for the shot on show. */
  show({ band, spared, marks, edges, reportUnit }) {
    const held = spared ? null : band;
    this.scale = scaleOf(held, marks.map((m) => m.value), reportUnit);
    this.root.hidden = !this.scale;
    if (!this.scale) return;
    const oldestFirst = marks.toSorted((a, b) => b.age - a.age);
    const drawn = [make("div", "axis"), ...this.bracket(held, edges), ...oldestFirst.map((m) => this.mark(m))];
    this.root.replaceChildren(...drawn, this.now);
  }

  /** The live value, or nothing with `null`. */
  live(value) {
    this.now.hidden = value === null || !this.scale;
    this.root.classList.toggle("moving", !this.now.hidden);
    if (!this.now.hidden) this.place(this.now, clamp(this.share(value)));
  }

  bracket(band, edges) {
    if (!band) return [];
    const [from, to] = [band.low ?? this.scale.from, band.high ?? this.scale.to].map((v) => this.share(v));
    const made = make("div", "bracket");
    made.classList.toggle("open-low", band.low == null);
    made.classList.toggle("open-high", band.high == null);
    this.place(made, from);
    made.style.width = `${100 * (to - from)}%`;
    const narrow = (value) => Math.min(this.share(value) - from, to - this.share(value)) < NARROW;
    return [made, ...edges.map(({ edge, value, words }) => this.edge(narrow(value) ? `${edge} narrow` : edge, value, words, edge))];
  }

  edge(classes, value, words, edge) {
    const made = make("div", `edge ${classes}`);
    made.append(make("span", "words", edge === "aim" ? `aim ${words}` : words));
    this.place(made, this.share(value));
    return made;
  }

  mark({ value, shape, age }) {
    const made = document.createElementNS(SVG, "svg");
    made.setAttribute("viewBox", "0 0 20 20");
    made.setAttribute("class", `mark ${shape}`);
    made.dataset.age = age;
    const [tag, attributes] = SHAPES[shape] ?? SHAPES.not_judged;
    const drawn = made.appendChild(document.createElementNS(SVG, tag));
    for (const [name, said] of Object.entries(attributes)) drawn.setAttribute(name, said);
    this.place(made, this.share(value));
    return made;
  }

  share(value) {
    return (value - this.scale.from) / (this.scale.to - this.scale.from);
  }

  place(node, share) {
    node.style.left = `${100 * share}%`;
  }
}

const clamp = (share) => Math.min(Math.max(share, 0), 1);

function make(tag, name, text = "") {
  const made = document.createElement(tag);
  made.className = name;
  made.textContent = text;
  return made;
}
