// Writes the lesson into the bay screen: who is here, focus metrics over their rulers, head speed, the
// sentence, the leak card, the last shots. What is said is worked out in view.js.

import { byId, element, say } from "../page.js";
import { BandRuler } from "./bandruler.js";
import { bayView, liveOf } from "./view.js";

// On the way to a band a movement is outside it: neither low nor high.
const LIVE = { in: "● in", out: "○ outside" };

/** Owns what a lesson adds to the bay screen. */
export class LessonPanel {
  constructor(tone) {
    this.tone = tone;
    this.lanes = [];
    this.view = { kind: "none" };
    // The time that is left of a rest.
    setInterval(() => this.renderCalm(), 1000);
  }

  /** Everything, after any message but a pose. */
  render(screen, units) {
    if (screen.lesson !== this.lesson) this.restUntil = performance.now() + 1000 * (screen.lesson?.load.rest_s ?? 0);
    this.lesson = screen.lesson;
    this.view = bayView(screen, units);
    const { view } = this;
    document.body.dataset.lesson = view.kind;
    document.body.classList.toggle("focused", Boolean(view.lanes?.length));
    byId("check").hidden = view.kind !== "check";
    byId("right").hidden = view.kind === "check";
    byId("focus").hidden = !view.lanes?.length;
    byId("numbers").hidden = view.kind === "check" || Boolean(view.lanes?.length);
    this.renderSeat();
    this.renderCheck();
    this.renderFocus(screen, units);
    this.renderSpoken();
    renderLeak(view.leak);
    renderRecent(view.recent ?? []);
    this.tone.shot(view.judged);
  }

  /** The live numbers, after a pose. */
  renderLive(screen, units) {
    const seen = (this.view.lanes ?? []).map((lane, i) => this.renderLane(i, lane, liveOf(lane, screen, units)));
    this.tone.live(seen.find((live) => live?.verdict)?.verdict ?? null);
  }

  renderSeat() {
    const { who, block } = this.view;
    byId("seat").hidden = !who;
    if (!who) return;
    say(byId("seat").querySelector(".student"), who.name);
    say(byId("seat").querySelector(".details"), who.details);
    say(byId("seat").querySelector(".block"), block);
  }

  renderCheck() {
    if (!this.view.count) return;
    say(byId("check").querySelector(".say"), this.view.count.say);
    say(byId("check").querySelector(".digits"), this.view.count.shots);
    say(byId("check").querySelector(".of"), this.view.count.of);
  }

  renderFocus(screen, units) {
    const lanes = this.view.lanes ?? [];
    const key = lanes.map((lane) => lane.metric).join();
    if (this.key !== key) this.make(lanes);
    this.key = key;
    byId("focus").dataset.count = lanes.length;
    renderOutcome(this.view.speed);
    lanes.forEach((lane, i) => this.lanes[i].ruler.show(lane));
    this.renderLive(screen, units);
  }

  make(lanes) {
    this.lanes = lanes.map((lane) => {
      const box = byId("lane-template").content.firstElementChild.cloneNode(true);
      box.dataset.metric = lane.metric;
      return { box, ruler: new BandRuler(box.querySelector(".band-ruler")) };
    });
    byId("lanes").replaceChildren(...this.lanes.map(({ box }) => box));
  }

  renderLane(i, lane, live) {
    const { box, ruler } = this.lanes[i];
    const { digits, unit, word } = live ?? lane;
    box.classList.toggle("unmeasured", !live && !lane.measured);
    box.querySelector(".digits").dataset.length = digits.length;
    box.querySelector(".unit").dataset.unit = unit;
    const verdict = live ? LIVE[live.verdict] ?? "" : lane.verdict;
    const reason = live ? "now, since address" : lane.reason;
    for (const [part, text] of Object.entries({ name: lane.name, digits, unit, word, verdict, reason })) say(box.querySelector(`.${part}`), text);
    ruler.live(live ? live.value : null);
    return live;
  }

  renderSpoken() {
    say(byId("sentence"), this.view.sentence ?? "");
    this.renderCalm();
  }

  renderCalm() {
    const { calm, side = "" } = this.view;
    const left = Math.max(0, Math.ceil((this.restUntil - performance.now()) / 1000));
    const rest = calm?.rest && left ? `${Math.floor(left / 60)}:${String(left % 60).padStart(2, "0")} left` : "";
    const lines = [side, [calm?.advice, rest].filter(Boolean).join(" · ")].filter(Boolean);
    say(byId("calm"), lines.join(" · "));
    // Over lanes its place stays, so that nothing jumps while a shot is judged.
    byId("spoken").hidden = !this.view.lanes?.length && !lines.length;
  }
}

function renderOutcome(speed) {
  const box = byId("outcome");
  box.hidden = !speed;
  if (!speed) return;
  box.classList.toggle("unmeasured", !speed.measured);
  box.querySelector(".digits").dataset.length = speed.digits.length;
  const { name, digits, unit, change, verdict } = speed;
  const why = speed.reason || speed.why;
  for (const [part, text] of Object.entries({ name, digits, unit, change, verdict, why })) say(box.querySelector(`.${part}`), text);
}

function renderLeak(leak) {
  const box = byId("leak");
  box.hidden = !leak;
  document.body.classList.toggle("leaking", Boolean(leak));
  if (!leak) return;
  const parts = {
    name: leak.name, count: [leak.count, leak.direction].filter(Boolean).join(" · "), sentence: leak.sentence,
    speed: leak.speed, suggestion: leak.suggestion && `Try: ${leak.suggestion}`, cautions: leak.cautions,
    source: [leak.source, leak.also].filter(Boolean).join(" "),
  };
  for (const [part, text] of Object.entries(parts)) say(box.querySelector(`.${part}`), text);
  box.querySelector(".try").hidden = !leak.suggestion;
}

function renderRecent(shots) {
  byId("recent").hidden = !shots.length;
  const text = JSON.stringify(shots);
  if (byId("recent").dataset.text === text) return;
  byId("recent").dataset.text = text;
  byId("recent").replaceChildren(...shots.map((shot) => {
    const item = element("li", "");
    item.append(...["label", "speed", "shapes"].map((part) => element("span", part, shot[part])));
    return item;
  }));
}
