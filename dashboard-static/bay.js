// The words and numbers of the bay screen: takes what the screen knows and writes it into the page.
// The replay is drawn elsewhere (replay.js).

import { byId, element, say } from "./page.js";
import { lastArchived, shownSwing } from "./state.js";
import { FOCUS, HEADLINE, STATES, archivedWords, liveWords, reading, unrefinedWords } from "./words.js";

// Below this the share of lost datagrams is not worth a word of warning beside it.
const LOSS_WORTH_A_WORD = 1;

/** Makes the boxes of the three metrics; once, at start. */
export function prepare() {
  for (const id of FOCUS) {
    const box = byId("metric-template").content.firstElementChild.cloneNode(true);
    box.dataset.metric = id;
    byId("numbers").append(box);
  }
  byId("speed").dataset.metric = HEADLINE;
}

/** Writes state, numbers and health. */
export function render(screen, units) {
  renderState(screen);
  renderNote(screen, units);
  renderNumbers(shownSwing(screen), units);
  renderHealth(screen.linked ? screen.health : null);
  say(byId("bay-name"), screen.bayName);
  say(byId("recording"), [screen.recording, keepsNothing(screen) ? "" : archivedWords(lastArchived(screen))].filter(Boolean).join(" · "));
}

// Of a guest nothing is kept, which is said already.
const keepsNothing = ({ lesson }) => Boolean(lesson) && !lesson.seat?.session;

function renderState(screen) {
  const state = stateOf(screen);
  document.body.dataset.state = state;
  byId("state").dataset.state = state;
  say(byId("state"), STATES[state] ?? state);
}

/** Writes the line under the state, which follows the golfer while he moves slowly. */
export function renderNote(screen, units) {
  say(byId("state-note"), note(screen, stateOf(screen), units));
}

const stateOf = (screen) => (screen.linked && !screen.problem ? screen.state : "no_signal");

function note(screen, state, units) {
  if (screen.problem) return screen.problem;
  if (!screen.linked) return screen.bay ? "connection to the bay lost, trying again" : "connecting to the bay";
  if (state === "no_signal") return "no frames arrive from the capture system";
  // In a check nothing is said of the movement, and a lesson's lanes say it larger.
  if (screen.lesson && (!screen.lesson.feedback || screen.lesson.focus.length)) return "";
  return state === "at_address" || state === "in_motion" ? liveWords(screen.live, units) : "";
}

function renderNumbers(swing, units) {
  const metrics = swing?.measurement.metrics;
  for (const box of byId("numbers").children) {
    const id = box.dataset.metric;
    const read = metrics ? reading(id, swing, units) : { ...reading(id, null, units), detail: id === HEADLINE ? "appears after the first swing" : "" };
    renderReading(box, read, id === HEADLINE && swing ? unrefinedWords(swing) : "");
  }
}

function renderReading(box, read, unrefined) {
  box.classList.toggle("unmeasured", !read.measured);
  // Long numbers get smaller digits (style.css) instead of a broken line.
  box.querySelector(".digits").dataset.length = read.digits.length;
  box.querySelector(".unit").dataset.unit = read.unit;
  for (const part of ["name", "digits", "unit", "word", "detail", "spread"]) say(box.querySelector(`.${part}`), read[part]);
  const limited = read.limited && `◇ limited: ${read.limited}`;
  say(box.querySelector(".limited"), [unrefined, limited].filter(Boolean).join(" · "));
}

function renderHealth(health) {
  const lines = health ? health.streams.map(streamLine) : [];
  const finding = health?.findings[0];
  const items = lines.map((text) => element("p", "stream", text));
  if (finding) items.push(element("p", `finding ${finding.severity}`, `${mark(finding.severity)} ${finding.text}`));
  const text = items.map((i) => i.textContent).join("\n");
  if (byId("health").dataset.text === text) return;
  byId("health").dataset.text = text;
  byId("health").replaceChildren(...items);
}

function streamLine(stream) {
  const wanted = stream.rate_hz ? ` of ${round(stream.rate_hz)}` : "";
  const loss = stream.loss_percent.toFixed(1);
  const parts = [`${stream.content} ${round(stream.seen_hz)}${wanted} a second`, `${loss} % lost${stream.loss_percent > LOSS_WORTH_A_WORD ? " ▲ high" : ""}`];
  if (stream.content === "markers") parts.push(hiddenWords(stream));
  return parts.join(" · ");
}

function hiddenWords(stream) {
  if (stream.hidden.length === 0) return `all ${stream.landmarks} seen`;
  const names = stream.hidden.slice(0, 2).map((n) => n.replaceAll("_", " ")).join(", ");
  const rest = stream.hidden.length > 2 ? ", …" : "";
  return `${stream.hidden.length} of ${stream.landmarks} hidden: ${names}${rest}`;
}

const mark = (severity) => ({ error: "✕ error:", warning: "▲ warning:" })[severity] ?? "● note:";

// A whole number where it is one: 107 of 108 would read as a loss where 107.5 are sent.
const round = (rate) => rate.toFixed(Math.abs(rate - Math.round(rate)) < 0.05 ? 0 : 1);
