// The time ruler below the replay: event marks where they fall in time, named in words, and the
// playhead. Plain elements placed by percent, so that they follow the width by themselves.

import { SLOW_WORDS } from "./take.js";
import { eventName } from "./quantities.js";
import { RULER_EVENTS } from "./words.js";

export class Ruler {
  constructor(root) {
    this.root = root;
    this.playhead = make("div", "playhead");
    this.width = 0;
    new ResizeObserver(() => { this.width = root.clientWidth; }).observe(root);
  }

  /** Marks for the events that this take has. */
  show(take, plan) {
    this.plan = plan;
    const slow = make("div", "slow");
    this.place(slow, plan.slowFrom);
    slow.style.width = `${this.percent(plan.slowTo) - this.percent(plan.slowFrom)}%`;
    // Neighbors in time write on different sides of the line and so never collide.
    const marks = RULER_EVENTS.filter((e) => take.events[e] !== undefined)
      .map((event) => this.mark(event, take.events[event], take.events.impact));
    const key = make("div", "slow-key", `thick: ${SLOW_WORDS}`);
    this.root.replaceChildren(make("div", "line"), slow, key, ...marks, this.playhead);
  }

  /** Moves the playhead to `time`, without laying the page out again. */
  point(time) {
    this.playhead.style.transform = `translateX(${(this.percent(time) / 100) * this.width}px)`;
  }

  /** Without motion there is no playhead. */
  setCalm(calm) {
    this.playhead.hidden = calm;
    this.root.classList.toggle("calm", calm);
  }

  mark(event, time, impact) {
    const side = RULER_EVENTS.indexOf(event) % 2 ? "below" : "above";
    const mark = make("div", `mark ${side} ${event}`);
    const words = make("span", "event", eventName(event));
    if (impact !== undefined && event !== "impact") words.append(make("i", "when", ` −${(impact - time).toFixed(2)} s`));
    mark.append(words);
    this.place(mark, time);
    return mark;
  }

  place(node, time) {
    node.style.left = `${this.percent(time)}%`;
  }

  percent(time) {
    return (100 * (time - this.plan.from)) / (this.plan.to - this.plan.from);
  }
}

function make(tag, name, text = "") {
  const made = document.createElement(tag);
  made.className = name;
  made.textContent = text;
  return made;
}
