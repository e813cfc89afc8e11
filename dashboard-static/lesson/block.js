// The block that runs with its counts, those before it, and the buttons that begin and end one.

import { beginBlock, endBlock, sit } from "./acts.js";
import { button, el } from "./dom.js";
import { fold } from "./form.js";
import { model, session, ui } from "./model.js";
import { clock, count } from "./say.js";

const PURPOSES = ["baseline", "practice", "check"];
const FEWEST = 5;
const MOST = 100;

export function blockBar() {
  if (!session()) return unkept();
  const { block, blocks } = model.lesson;
  return [
    el(".running", {}, el("h2", {}, block ? block.purpose : "No block runs"), el("p.count", {}, block ? counted(block) : "shots fall into no block and are not listed: begin one")),
    el(".choice.begin", { role: "group", "aria-label": "Begin a block" },
      PURPOSES.map((purpose) => button(`begin:${purpose}`, [el("b", {}, begins(purpose)), el("span.sub", {}, purpose === "check" ? `${block?.purpose === "check" ? block.planned : planned()} shots, silent` : WHY[purpose])], () => begin(purpose), { "aria-pressed": String(block?.purpose === purpose) })),
      block && button("begin:end", [el("b", {}, "End"), el("span.sub", {}, "of the block")], endBlock)),
    model.ui.ask?.what === "check" && plan(),
    history(blocks, block),
  ];
}

const WHY = { baseline: "as it is now", practice: "with feedback" };
const begins = (purpose) => purpose.charAt(0).toUpperCase() + purpose.slice(1);
const planned = () => model.ui.planned ?? 10;

function counted(block) {
  if (block.purpose !== "check") return count(block.shots, "shot");
  const beyond = block.shots - block.planned;
  if (beyond < 0) return `${block.shots} of ${block.planned} shots · the bay shows no judgement`;
  return `${block.planned} of ${block.planned} shots · complete${beyond ? `, ${beyond} more not judged` : ""}`;
}

// A check's length is chosen before its first shot: the row opens instead of beginning at once.
async function begin(purpose) {
  if (purpose === "check") return ui({ ask: model.ui.ask?.what === "check" ? null : { what: "check" } });
  // A second tap on what has just begun is no second block.
  const { block } = model.lesson;
  if (block?.purpose === purpose && block.shots === 0) return;
  if (await beginBlock(purpose)) ui({ ask: null });
}

function plan() {
  const set = (n) => ui({ planned: Math.max(FEWEST, Math.min(MOST, n)) });
  return el(".row.plan", {},
    el("span", {}, "Judged after"),
    button("plan:less", "−", () => set(planned() - 1), { "aria-label": "one shot less" }),
    el("output", {}, count(planned(), "shot")),
    button("plan:more", "+", () => set(planned() + 1), { "aria-label": "one shot more" }),
    button("plan:begin", "Begin check", async () => {
      if (await beginBlock("check", planned())) ui({ ask: null });
    }, { kind: "strong" }),
    button("plan:back", "Back", () => ui({ ask: null })));
}

function history(blocks, current) {
  if (blocks.length === 0) return el("p.dim", {}, "A lesson opens with a baseline: five to ten shots as they come.");
  const opened = blocks[0];
  const line = (b) => el("li", { "aria-current": b.id === current?.id ? "true" : null }, `${b.number} ${b.purpose} ${b.shots}`);
  return fold("history", `Opened with ${opened.purpose} at ${clock(opened.began_utc_ns)}, ${count(opened.shots, "shot")} · ${count(blocks.length, "block")}`, "history",
    el("ol", {}, blocks.map(line)));
}

function unkept() {
  const { seat, waiting } = model.lesson ?? {};
  const words = WHO[seat?.mode] ?? "Nobody is chosen: shots are measured and shown in the bay, nothing is recorded.";
  if (!waiting?.student) return el("p.hint", {}, words);
  const { name } = waiting.student;
  return el(".waiting", {},
    el("p.hint", {}, words),
    button("seat:back", [el("b", {}, `Back to ${name}`), el("span.sub", {}, `the lesson waits${waiting.club ? `, ${waiting.club.name}` : ""}, and goes on in the same block`)],
      () => sit({ mode: "back" }, `Back to ${name}`), { kind: "strong" }));
}

const WHO = {
  guest: "A guest hits: shots are measured and shown in the bay, nothing is kept.",
  coach: "The coach shows something: measured and shown in the bay, nothing is kept.",
};
