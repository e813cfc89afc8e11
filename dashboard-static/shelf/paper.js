// A figure on paper: what draws on a canvas draws into an SVG here, so that it prints sharp and can be
// inlined in a file. Only what scene.js and stick.js use of a canvas is there.

import { el, svg } from "../element.js";
import { LIGHT } from "../palette.js";
import { Stage } from "../stick.js";

let papers = 0;

/** A stage whose drawing ends in `root`, an SVG of this size. */
export class Paper extends Stage {
  constructor(width, height, view, words) {
    const hatch = `hatch-${papers++}`;
    const root = svg("svg.still", { viewBox: `0 0 ${width} ${height}`, role: "img", "aria-label": words, xmlns: "http://www.w3.org/2000/svg" },
      svg("defs", {}, svg("pattern", { id: hatch, width: 5, height: 5, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" },
        svg("rect", { width: 5, height: 5, fill: LIGHT.ground }), svg("rect", { width: 1.7, height: 5, fill: LIGHT.ink }))));
    const pen = new Pen(root);
    // Stands in for a canvas; the style is asked of a real element.
    const canvas = Object.assign(el("i"), { getContext: () => pen });
    Object.defineProperties(canvas, { clientWidth: { value: width }, clientHeight: { value: height } });
    super(canvas, view, LIGHT);
    Object.assign(this, { root, hatch: `url(#${hatch})` });
  }

  clear() {}

  halo() {
    Object.assign(this.context, { lineWidth: 4, lineJoin: "round", strokeStyle: LIGHT.panel });
    this.context.strokeText();
  }
}

/** The pen of a canvas, as far as figures need it, that leaves SVG elements. */
class Pen {
  constructor(root) {
    Object.assign(this, { root, halo: null, d: "", dash: [], lineWidth: 1, globalAlpha: 1, fillStyle: "none", strokeStyle: "none", lineCap: "butt", lineJoin: "miter", font: "14px sans-serif", textAlign: "start", textBaseline: "alphabetic" });
  }

  beginPath() {
    this.d = "";
  }

  closePath() {
    this.d += "Z";
  }

  moveTo(x, y) {
    this.d += `M${short(x)} ${short(y)}`;
  }

  lineTo(x, y) {
    this.d += `${this.d ? "L" : "M"}${short(x)} ${short(y)}`;
  }

  // Counted from angle to angle as a canvas does; in halves, for SVG has no whole circle.
  arc(x, y, radius, from, to) {
    const at = (angle) => [x + radius * Math.cos(angle), y + radius * Math.sin(angle)];
    this.lineTo(...at(from));
    const middle = (from + to) / 2;
    for (const angle of [middle, to]) this.d += `A${short(radius)} ${short(radius)} 0 ${Math.abs(to - from) > 2 * Math.PI ? 1 : 0} 1 ${at(angle).map(short).join(" ")}`;
  }

  createLinearGradient(x1, y1, x2, y2) {
    const gradient = svg("linearGradient", { id: `light-${papers}-${this.root.childElementCount}`, gradientUnits: "userSpaceOnUse", x1: short(x1), y1: short(y1), x2: short(x2), y2: short(y2) });
    this.root.append(gradient);
    return {
      addColorStop: (offset, color) => gradient.append(svg("stop", { offset, "stop-color": color })),
      toString: () => `url(#${gradient.id})`,
    };
  }

  setLineDash(dash) {
    this.dash = dash;
  }

  fill() {
    this.leave({ fill: this.fillStyle, opacity: this.globalAlpha === 1 ? null : this.globalAlpha });
  }

  stroke() {
    this.leave({ fill: "none", ...this.line(), "stroke-dasharray": this.dash.join(" ") || null });
  }

  fillText(text, x, y) {
    this.write(text, x, y, { fill: this.fillStyle, ...this.halo });
    this.halo = null;
  }

  measureText(text) {
    measure.font = this.font;
    return measure.measureText(text);
  }

  // The edge of a text that is filled next; one text, for whoever reads or copies it.
  strokeText() {
    this.halo = { ...this.line(), "paint-order": "stroke" };
  }

  line() {
    return { stroke: this.strokeStyle, "stroke-width": short(this.lineWidth), "stroke-linecap": this.lineCap, "stroke-linejoin": this.lineJoin };
  }

  leave(look) {
    this.root.append(svg("path", { d: this.d, ...look }));
  }

  write(text, x, y, look) {
    const size = Number.parseFloat(/([\d.]+)px/.exec(this.font)?.[1] ?? "14");
    const down = { top: 0.8, middle: 0.35 }[this.textBaseline] ?? 0;
    const anchor = { center: "middle", right: "end" }[this.textAlign] ?? "start";
    this.root.append(svg("text", { x: short(x), y: short(y + down * size), "font-size": size, "text-anchor": anchor, ...look }, text));
  }
}

const measure = new OffscreenCanvas(1, 1).getContext("2d");
const short = (number) => Math.round(number * 10) / 10;
