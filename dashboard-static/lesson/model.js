// What the Lesson page knows: the bay's messages, what was fetched, and what is open on the page.
// One object; whoever changes it calls `changed`. No drawing here.

import { MAJOR, personOf } from "../state.js";

export const model = {
  linked: false, problem: null, bay: null, bayName: "", bayState: "no_signal", lesson: null, lastSwing: null,
  /** Students on file; `null` until fetched. */
  students: null,
  /** The catalogue: metric id → what `GET /api/v1/metrics` says of it. */
  catalogue: new Map(),
  /** Values of this student's earlier shots with this club, by metric. */
  past: { of: "", values: new Map() },
  /** Entries of the student by number. */
  entries: new Map(),
  /** What the last verb entered: numbers in the order in which they are undone, words, the newest of them. */
  verb: null,
  /** Thresholds of leaks, for which student and up to which entry. */
  thresholds: { of: "", lines: [] },
  /** Calibrations of the student, likewise. */
  calibrations: { of: "", list: [] },
  /** Swing id → its number in its block. */
  numbers: new Map(),
  /** What is open and half written on this page. */
  ui: { tab: "student", open: null, ask: null, leak: null, evidence: 0, moment: null, drafts: {}, bands: {}, domains: {}, segment: "pelvis", error: null, said: null, trial: null },
};

const listeners = new Set();
/** Calls back after every change. */
export const onChange = (listener) => listeners.add(listener);
/** Tells that the model changed. */
export const changed = () => listeners.forEach((l) => l());

/** Changes what is open on the page. */
export function ui(change) {
  Object.assign(model.ui, change);
  changed();
}

/** One message of the socket. Tells whether the lesson may have changed. */
export function hear(message) {
  if (message.type === "hello") return hello(message);
  if (model.problem || message.bay !== model.bay) return false;
  if (message.type === "status") model.bayState = message.state;
  else if (message.type === "swing") model.lastSwing = message;
  else if (message.type === "lesson") return take(message);
  else return false;
  changed();
  return false;
}

/** The line came or went. */
export function link(linked) {
  model.linked = linked;
  changed();
}

function hello(message) {
  if (Number.parseInt(message.version, 10) !== MAJOR) {
    model.problem = `this page speaks version ${MAJOR}, the bay speaks ${message.version}: load the page again`;
    changed();
    return false;
  }
  Object.assign(model, { problem: null, bay: message.bay, bayName: message.bay_name, bayState: message.state, lastSwing: message.swings.at(-1) ?? null });
  return take(message.lesson);
}

function take(lesson) {
  const before = model.lesson?.seat?.student?.id;
  if (model.lesson && personOf(model.lesson) !== personOf(lesson)) model.lastSwing = null;
  model.lesson = lesson;
  if (before !== lesson?.seat?.student?.id) {
    model.entries.clear();
    Object.assign(model.ui, { open: null, ask: null, leak: null, bands: {}, domains: {}, trial: null });
  }
  number(lesson);
  changed();
  return true;
}

// A shot keeps its number when older ones leave the list.
function number(lesson) {
  if (!lesson?.block) return;
  const block = lesson.block.id;
  const own = lesson.shots.map((s) => model.numbers.get(s.swing)).filter((n) => n?.block === block);
  // A page opened late sees the newest only: it counts on from those that left the list.
  const gone = own.length ? 0 : Math.max(0, lesson.block.shots - lesson.shots.filter((s) => !s.excluded).length);
  let last = Math.max(gone, ...own.map((n) => n.number));
  for (const shot of lesson.shots.toReversed()) {
    if (model.numbers.get(shot.swing)?.block === block) continue;
    last += 1;
    model.numbers.set(shot.swing, { block, number: last });
  }
}

export const student = () => model.lesson?.seat?.student ?? null;
export const club = () => model.lesson?.seat?.club ?? null;
export const session = () => model.lesson?.seat?.session ?? null;
