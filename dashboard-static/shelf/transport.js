// The hand on the clock: play and pause, scrub, frame by frame, speed, real time or stretched.

import { el } from "../element.js";
import { say } from "../page.js";
import { eventName } from "../words.js";
import { toggle } from "./dom.js";

const SPEEDS = [[0.25, "¼"], [0.5, "½"], [0.75, "¾"], [1, "1×"]];
const MARKED = ["address", "takeaway_end", "top", "shaft_level_down", "impact", "finish"];
const FINE = 10_000;
const TOGETHER_S = 0.004;
const LABEL_PERCENT = 15;

export class Transport {
  constructor(root, clock) {
    Object.assign(this, { root, clock });
    this.play = el("button.play", { type: "button", onclick: () => (clock.playing ? clock.pause() : clock.play()) });
    this.scrub = el("input", { type: "range", min: "0", max: String(FINE), step: "1", "aria-label": "Moment of the swing" });
    this.scrub.oninput = () => clock.go(clock.from + (Number(this.scrub.value) / FINE) * (clock.to - clock.from));
    this.scrub.onkeydown = (e) => {
      const frames = { ArrowLeft: -1, ArrowRight: 1 }[e.key];
      if (!frames) return;
      e.preventDefault();
      clock.step(frames);
    };
    this.marks = el(".marks", {});
    this.moment = el("output.moment", { "aria-live": "off" });
    this.speeds = el(".choice", { role: "group", "aria-label": "Speed" });
    this.modes = el(".choice", { role: "group", "aria-label": "How the two run together" });
    const step = (count, label, words) => el("button", { type: "button", "aria-label": `${label}: ${words}`, title: words, onclick: () => clock.step(count) }, label);
    root.replaceChildren(
      el(".line", {}, this.marks, this.scrub),
      this.moment,
      el(".hands", {}, this.play, step(-1, "−1", "one frame back"), step(1, "+1", "one frame on"), this.speeds, this.modes),
    );
    clock.listen({ moment: () => this.point(), setting: () => this.say() });
  }

  say() {
    const { clock } = this;
    this.play.textContent = clock.playing ? "Pause" : "Play";
    const replace = (root, made) => {
      const had = [...root.children].indexOf(document.activeElement);
      root.replaceChildren(...made);
      root.children[had]?.focus();
    };
    replace(this.speeds, SPEEDS.map(([speed, words]) => toggle(words, clock.speed === speed, () => clock.setSpeed(speed))));
    replace(this.modes, [[true, "stretched", "address, top and impact of both fall together"], [false, "real time", "both run second by second and meet at impact"]]
      .map(([on, words, title]) => toggle(words, clock.stretched === on, () => clock.stretch(on), { title })));
    this.modes.hidden = !clock.b;
    this.marks.replaceChildren(...this.markers());
  }

  // Marks of the first swing stand above the line; those of the second below it, where they differ.
  markers() {
    return ["a", "b"].flatMap((side) => MARKED.filter((e) => this.clock[side]?.[e] !== undefined && !(side === "b" && this.together(e))).map((event) => {
      const at = this.clock.whenIs(side, this.clock[side][event]);
      const go = () => this.clock.go(at);
      const mark = el("button.event", { type: "button", "data-side": side, "data-event": event, title: eventName(event), "aria-label": `${side.toUpperCase()}: ${eventName(event)}`, onclick: go },
        side === "a" && !this.crowded(event, at) ? el("span", {}, SHORT[event] ?? eventName(event)) : "");
      mark.style.left = `${this.percent(at)}%`;
      return mark;
    }));
  }

  // Two words side by side need room; address is the one that stays.
  crowded(event, at) {
    const { address } = this.clock.a;
    return event === "takeaway_end" && address !== undefined && this.percent(at) - this.percent(address) < LABEL_PERCENT;
  }

  together(event) {
    const { a, b } = this.clock;
    return a[event] !== undefined && Math.abs(this.clock.whenIs("b", b[event]) - a[event]) < TOGETHER_S;
  }

  point() {
    const { clock } = this;
    if (!clock.a) return;
    this.scrub.value = String(Math.round((FINE * (clock.time - clock.from)) / (clock.to - clock.from)));
    const words = this.words();
    say(this.moment, words);
    this.scrub.setAttribute("aria-valuetext", words);
  }

  words() {
    const { clock } = this;
    const a = clock.momentOf("a");
    if (!clock.b) return phrase(a);
    const [first, second] = [phrase(a), phrase(clock.momentOf("b"))];
    return first === second ? first : `A ${first} · B ${second}`;
  }

  percent(time) {
    return (100 * (time - this.clock.from)) / (this.clock.to - this.clock.from);
  }
}

const SHORT = { takeaway_end: "takeaway end", shaft_level_down: "shaft level" };

function phrase(seconds) {
  const size = Math.abs(seconds).toFixed(2);
  if (size === "0.00") return "impact";
  return `${size} s ${seconds < 0 ? "before" : "after"} impact`;
}
