// Two picks beside each other: opens them, names them, and gives them to figures, curves and table.

import { el } from "../element.js";
import { get } from "./api.js";
import { Clock } from "./clock.js";
import { CurveSheet } from "./curves.js";
import { differences, verdict } from "./differences.js";
import { FloorPlan } from "../floor.js";
import { say } from "../page.js";
import { colorsNow, onTheme } from "../theme.js";
import { open } from "./pick.js";
import { Stages } from "./stages.js";
import { Transport } from "./transport.js";

const SIDES = ["a", "b"];
const PARTS = ["stages", "transport", "curves", "floors"];

export class Compare {
  /** @param {object} roots elements: `names`, `verdict`, `stages`, `transport`, `floors`, `table`, `curves` */
  constructor(roots, students, units, picked) {
    Object.assign(this, { roots, students, units, picked, picks: {}, shown: {}, all: false });
    this.clock = new Clock();
    this.stages = new Stages(roots.stages, this.clock);
    // Before what writes words: measuring a canvas afterwards would lay the page out a second time.
    this.clock.listen({ moment: () => this.drawFloors() });
    this.transport = new Transport(roots.transport, this.clock);
    this.curves = new CurveSheet(roots.curves, this.clock, units);
    this.floors = Object.fromEntries(SIDES.map((side) => [side, this.floor(side)]));
    roots.floors.replaceChildren(...SIDES.map((side) => this.floors[side].root));
    this.hide("Opening…");
    onTheme(() => this.repaint());
    this.calm = matchMedia("(prefers-reduced-motion: reduce)");
    let last = performance.now();
    const tick = (now) => {
      requestAnimationFrame(tick);
      this.clock.advance(Math.min(now - last, 100) / 1000);
      last = now;
    };
    requestAnimationFrame(tick);
  }

  floor(side) {
    const root = el("figure.floor", { hidden: true }, el("figcaption", {}, `${side.toUpperCase()} · feet from above`), el("canvas", { role: "img", "aria-label": `${side.toUpperCase()}: feet and pressure from above` }));
    return new FloorPlan(root, colorsNow());
  }

  /** Opens what was picked; a side whose pick stays is not fetched again. */
  async show(picks) {
    const turn = (this.turn = {});
    const kept = this.picks;
    this.picks = picks;
    this.problems = {};
    if (!this.shown.a && !this.shown.b) this.hide("Opening…");
    this.roots.stages.setAttribute("aria-busy", "true");
    const opened = await Promise.all(SIDES.map((side) => {
      if (!picks[side]) return null;
      const same = SIDES.find((s) => kept[s] && kept[s].of === picks[side].of && kept[s].id === picks[side].id);
      return (same && this.shown[same]) || open(picks[side], this.students).catch((error) => {
        this.problems[side] = error.message;
        return null;
      });
    }));
    if (this.turn !== turn) return;
    const [a, b] = opened;
    this.shown = { a, b };
    this.names();
    this.draw();
    await this.compare();
    if (this.turn === turn) this.roots.stages.removeAttribute("aria-busy");
  }

  /** Nothing is drawn; `words` say why. */
  hide(words) {
    for (const name of PARTS) this.roots[name].hidden = true;
    this.roots.names.replaceChildren(el("p.dim", { role: "status" }, words));
  }

  draw() {
    const { a, b } = this.shown;
    const [first, second] = a ? [a, b] : [b, null];
    for (const name of PARTS) this.roots[name].hidden = !first;
    if (!first) return;
    const shown = { a: first, b: second };
    // The clock first: figures and curves ask it for their moments.
    this.clock.load(first.events, second?.events ?? null, first.frame);
    this.stages.show(shown);
    this.curves.show(shown);
    for (const side of SIDES) this.showFloor(side, shown[side]);
    if (!this.calm.matches) this.clock.play();
    else this.clock.go(first.events.top ?? 0);
  }

  showFloor(side, shown) {
    const floor = this.floors[side];
    floor.root.hidden = !shown;
    this.floored = { ...this.floored, [side]: shown };
    if (!shown) return;
    const { events, impact } = shown;
    const { lead, trail } = shown.ground.feet;
    // Plates on which nobody stands say nothing.
    floor.root.hidden = !lead && !trail;
    if (floor.root.hidden) return;
    floor.show(shown.ground, shown.take, { from: impact + (events.takeaway_start ?? -1), to: impact + (events.finish ?? 0.4), restAt: impact + (events.address ?? 0) });
    this.drawFloors();
  }

  drawFloors() {
    for (const side of SIDES) {
      const shown = this.floored?.[side];
      if (shown && !this.floors[side].root.hidden) this.floors[side].draw(shown.impact + this.clock.momentOf(side));
    }
  }

  names() {
    const card = (side) => {
      const shown = this.shown[side];
      const badge = el(`span.badge.${side}`, {}, side.toUpperCase());
      if (!shown) return el(".name-card", { "data-side": side }, badge, el("p", {}, this.problems[side] ?? "Choose a block or a swing on the left."));
      return el(".name-card", { "data-side": side }, badge,
        el("p", {}, el("b", {}, shown.title), el("span", {}, ` ${shown.student.name} · ${sideOf(shown)}`), el("span.detail", {}, shown.detail), shown.stands && el("span.detail", {}, shown.stands)));
    };
    const swap = el("button.swap", { type: "button", title: "A becomes B", onclick: () => this.picked({ a: this.picks.b, b: this.picks.a }), disabled: !(this.picks.a && this.picks.b) }, "⇄ swap");
    this.roots.names.replaceChildren(card("a"), swap, card("b"));
  }

  // Two blocks are compared as blocks; otherwise the swings are.
  async compare() {
    const { a, b } = this.shown;
    this.told = null;
    say(this.roots.verdict, "");
    if (!a || !b) {
      this.roots.table.replaceChildren(el("p.dim", {}, "With two opened, their differences stand here."));
      return;
    }
    const blocks = a.pick.of === "block" && b.pick.of === "block";
    const asked = blocks ? { of: "blocks", a: a.pick.id, b: b.pick.id } : { of: "swings", a: a.id, b: b.id };
    const turn = this.turn;
    try {
      const told = await get("comparisons", asked);
      if (this.turn === turn) this.told = told;
    } catch (error) {
      if (this.turn === turn) this.roots.table.replaceChildren(el("p.problem", {}, error.message));
    }
    if (this.turn !== turn || !this.told) return;
    this.cohort = null;
    this.table();
    // The table does not wait for what golfers of the archive do.
    const cohort = await get("cohorts", cohortOf(a, b)).catch(() => null);
    if (this.turn !== turn || !cohort) return;
    this.cohort = cohort;
    this.table();
  }

  table() {
    const { a, b } = this.shown;
    const mixed = a.pick.of !== b.pick.of && el("p.fine", {}, "A block stands beside a swing: the shot that stands for the block is compared.");
    const other = a.student.id !== b.student.id && el("p.fine", {}, "Two different golfers.");
    const side = a.handed !== b.handed && el("p.fine", {}, "One swings right-handed, the other left-handed: toward and away are told apart by the target.");
    say(this.roots.verdict, verdict(this.told, this.units));
    this.roots.table.replaceChildren(...differences(this.told, {
      units: this.units, all: this.all, golfers: new Map(this.cohort?.bands.map((band) => [band.metric, band])), notes: [mixed, other, side, ...(this.told.of === "swings" ? unrefined(a, b) : [])].filter(Boolean),
      more: () => {
        this.all = true;
        this.table();
      },
      go: (event) => a.events[event] !== undefined && this.clock.go(this.clock.whenIs("a", a.events[event])),
    }).flat().filter(Boolean), ...(this.cohort ? [el("p.fine", {}, among(this.cohort))] : []));
  }

  setUnits(units) {
    this.units = units;
    this.curves.setUnits(units);
    if (this.told) this.table();
  }

  repaint() {
    for (const side of SIDES) this.floors[side].colors = colorsNow();
    if (!this.shown.a && !this.shown.b) return;
    this.stages.draw();
    this.curves.fit();
    this.drawFloors();
  }
}

// Golfers with the same club, from the same side where both swing from one; whoever is looked at is not among them.
function cohortOf(a, b) {
  return { club: a.kept.club === b.kept.club ? a.kept.club : "", side: a.handed === b.handed ? a.handed : "", student: a.student.id === b.student.id ? a.student.id : "" };
}

function among({ bands, words }) {
  if (bands.length === 0) return `Beside golfers of this archive: ${words.charAt(0).toLowerCase()}${words.slice(1)}`;
  return `Among golfers: the ribbon holds four of five golfers of this archive, its line their middle; ○ A, ● B. ${words}`;
}

// A swing from the other side than the student's was somebody else's, or measured wrongly: it says nothing of
// the student's side.
function sideOf({ handed, student }) {
  if (!student.side || student.side === handed) return `${handed}-handed`;
  return `${student.side}-handed, but this swing came from the other side: is it somebody else's?`;
}

// Why a swing has no uncertainties, where it stays without.
function unrefined(a, b) {
  return [["A", a], ["B", b]].filter(([, shown]) => shown.report.unrefined).map(([side, shown]) => el("p.fine", {}, `${side} has no uncertainties: ${shown.report.unrefined}`));
}
