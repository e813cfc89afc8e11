// A shot that belongs elsewhere: to another block, another club, another student.

import { move } from "./acts.js";
import { button, el } from "./dom.js";
import { fold } from "./form.js";
import { model, student } from "./model.js";

const BLOCKS = 6;

/** Where a shot can be moved to; `key` makes keys of buttons. */
export function movePanel(shot, key) {
  const { block, blocks } = model.lesson;
  const number = model.numbers.get(shot.swing)?.number ?? "";
  const mine = model.students?.find((s) => s.id === student().id);
  const others = (model.students ?? []).filter((s) => s.id !== student().id && s.consents.some((c) => c.scope === "lesson" && !c.withdrawn_utc_ns));
  const to = (where, name, words) => button(key(`move:${Object.values(where)[0]}`), name, () => move(shot.swing, where, `Shot ${number} moved to ${words}`), { "aria-label": `move shot ${number} to ${words}` });
  const line = (words, buttons) => buttons.length > 0 && el(".row", {}, el("span.lead-in", {}, words), buttons);
  return fold(`move.${shot.swing}`, "Belongs elsewhere", "moving",
    line("block", blocks.filter((b) => b.id !== block?.id).slice(-BLOCKS).map((b) => to({ block: b.id }, `${b.number}, ${b.purpose}`, `block ${b.number}`))),
    line("club", (mine?.clubs ?? []).filter((c) => c.id !== block?.club).map((c) => to({ club: c.id }, c.name, `the ${c.name}`))),
    line("student", others.map((s) => to({ student: s.id }, s.name, s.name))),
    others.length > 0 && el("p.dim", {}, "Another student's shot is measured again with what is told of that student, and goes to the lesson of the same day."));
}
