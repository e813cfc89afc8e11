// The start of the day on the page: one sentence for the whole bay, and a card a check.

import { el, fill } from "../element.js";
import { say } from "../page.js";
import { STATES, list } from "./say.js";

const cards = new Map();

/** Shows the sentence and the cards; `silentS` is how long nothing was heard, for a lost line. */
export function showChecks(all, silentS) {
  const verdict = verdictOf(all, silentS);
  const root = document.getElementById("verdict");
  root.dataset.state = verdict.state;
  say(root.querySelector(".shape"), STATES[verdict.state].shape);
  say(root.querySelector(".words"), verdict.words);
  say(document.getElementById("verdict-more"), verdict.more);
  const day = document.getElementById("day");
  for (const check of all) {
    if (!cards.has(check.id)) cards.set(check.id, day.appendChild(card(check)));
    update(cards.get(check.id), check);
  }
}

/** The whole bay in one sentence. */
export function verdictOf(all, silentS) {
  const of = (state) => all.filter((c) => c.state === state).map((c) => c.name.toLowerCase());
  const [wrong, look, unknown] = [of("wrong"), of("look"), of("unknown")];
  const waiting = unknown.length ? `Not known yet: ${list(unknown, 3)}.` : "";
  if (all[0].state === "wrong") return { state: "wrong", words: `No signal${silentS === null ? "" : ` for ${silentS} s`}`, more: all[0].todo.join(" ") };
  if (wrong.length) return { state: "wrong", words: "Mend first, then teach", more: `Wrong: ${list(wrong)}.${look.length ? ` To look at: ${list(look)}.` : ""}` };
  if (look.length) return { state: "look", words: `The bay can teach, ${look.length} to look at`, more: `To look at: ${list(look)}. ${waiting}` };
  // A bay that was never swung in has shown little: say so instead of praising it.
  if (unknown.length > 3) return { state: "unknown", words: "So far so good", more: `${waiting} Hit one shot.` };
  return { state: "ok", words: "The bay can teach", more: waiting };
}

function card({ id, name }) {
  return el("li", { "data-check": id },
    el("p.mark", {}, el("span.shape", { "aria-hidden": "true" }), " ", el("span.word")),
    el("h3", {}, name),
    el("p.figure"), el("p.limit"), el("ul.todo"));
}

function update(node, check) {
  node.dataset.state = check.state;
  say(node.querySelector(".shape"), STATES[check.state].shape);
  say(node.querySelector(".word"), STATES[check.state].word);
  say(node.querySelector(".figure"), check.figure);
  say(node.querySelector(".limit"), `limit: ${check.limit}`);
  fill(node.querySelector(".todo"), check.todo, () => check.todo.map((text) => el("li", {}, text)));
}
