// What was entered: every entry of the student, which of them holds, which can be undone, and each in words.

import { eventName } from "../words.js";
import { get } from "./api.js";
import { changed, model, student } from "./model.js";
import { digits, label, metricName, value } from "./say.js";

const PAGES = 20;
let busy = false;
let again = false;

/** Fetches what is new. Calls while one runs become one more. */
export async function refresh() {
  if (busy) {
    again = true;
    return;
  }
  busy = true;
  try {
    await load(student()?.id);
  } catch {
    // The next message of the bay tries again; the stale sign stands meanwhile.
  } finally {
    busy = false;
  }
  if (again) {
    again = false;
    refresh();
  }
}

async function load(of) {
  if (!of) return;
  const known = Math.max(0, ...model.entries.keys());
  let before = null;
  for (let page = 0; page < PAGES; page += 1) {
    const query = new URLSearchParams({ student: of, ...(before ? { before } : {}) });
    const told = await get(`entries?${query}`);
    if (student()?.id !== of) return;
    for (const entry of told.entries) model.entries.set(entry.n, entry);
    before = told.next;
    if (!before || before <= known) break;
  }
  changed();
}

/** Takes an entry in that was just made. */
export function add(entry) {
  if (entry.student === student()?.id) model.entries.set(entry.n, entry);
  changed();
}

/** Every entry, newest first. */
export const newestFirst = () => [...model.entries.values()].sort((a, b) => b.n - a.n);

const about = (a) => Object.entries(a)[0].join(" ");
const kind = (entry) => `${about(entry.about)} ${entry.key}`;

/** The value that holds of a key; `null` without one. */
export function holds(of, key) {
  const wanted = `${about(of)} ${key}`;
  return newestFirst().find((e) => kind(e) === wanted)?.said?.value ?? null;
}

/** Numbers of the entries that are the newest of their kind: only those can be undone. */
export function newest() {
  const kinds = new Map();
  for (const entry of model.entries.values()) if (!(kinds.get(kind(entry)) > entry.n)) kinds.set(kind(entry), entry.n);
  return new Set(kinds.values());
}

/** The entry that a big undo button takes back: the newest that is no undoing itself. */
export function target() {
  const open = newest();
  return newestFirst().find((e) => e.undoes === null && open.has(e.n) && undoable(e)) ?? null;
}

/**
 * Whether an entry that is the newest of its kind can be taken back. A consent is given or withdrawn anew, by
 * whom it concerns; a student, or a club that was chosen, is there for good; seats and moved shots go back but not forth again, and seats only one step.
 */
export function undoable(entry) {
  if (entry.key === "consent") return false;
  if (entry.key === "student" && first(entry)) return false;
  if (entry.key === "club" && first(entry) && chosen(entry.about.club)) return false;
  if (entry.key === "moved") return entry.undoes === null;
  return entry.key !== "seat" || (entry.undoes === null && newestFirst().find((e) => e.key === "seat")?.n === entry.n);
}

/** Whether nothing of its kind was entered before: so a student came in, or a club. */
const first = (entry) => !newestFirst().some((e) => kind(e) === kind(entry) && e.n < entry.n);

const chosen = (club) => newestFirst().some((e) => (e.key === "seat" ? e.said?.value?.club : e.key !== "club" && e.about.club) === club);

/** An entry in words. */
export function words(entry) {
  if (entry.undoes !== null) {
    const before = model.entries.get(entry.undoes);
    if (before?.undoes != null) return `Put back: ${lower(words(model.entries.get(before.undoes) ?? { ...before, undoes: null }))}`;
    return `Taken back: ${before ? lower(words(before)) : `entry ${entry.undoes}`}`;
  }
  const make = WORDS[entry.key.split(":")[0]];
  return `${thing(entry)}${make ? make(entry.said?.value ?? null, entry) : entry.key.replaceAll("_", " ")}`;
}

const lower = (text) => (/^(Pain|Shot|Block)/.test(text) ? text : text.charAt(0).toLowerCase() + text.slice(1));

function thing(entry) {
  const [what, id] = Object.entries(entry.about)[0];
  if (what === "swing") {
    const number = model.numbers.get(id);
    return number ? `Shot ${number.number}: ` : "A shot: ";
  }
  if (what === "block") {
    const block = model.lesson?.blocks.find((b) => b.id === id);
    return block ? `Block ${block.number}, ${block.purpose}: ` : "Block: ";
  }
  return "";
}

const WORDS = {
  excluded: (v) => (v ? `does not count, ${v}` : "counts again"),
  effort: (v) => (v ? `${v} effort` : "effort not told"),
  strike: (v) => (v ? `strike ${v}` : "strike not told"),
  direction: (v) => (v ? `went ${v}` : "direction not told"),
  ball: () => "ball data",
  pain: (v) => (v ? (v.includes("pain") ? v : `pain: ${v}`) : "no pain"),
  fatigue: (v) => (v ? `fatigue: ${v}` : "no fatigue"),
  tags: (v) => (v?.length ? `tags ${v.join(", ")}` : "no tags"),
  notes: (v) => note(v),
  block: () => "moved to another block",
  moved: () => "moved to another student",
  begun: (v) => (v === false ? "begun aside" : "begun"),
  ended: () => "ended",
  calibration: (v) => (v === null ? "Calibration: from each swing's address" : `Calibration ${v}`),
  student: (v) => `Student: ${told(v, ["name", "side", "sex", "height_m", "mass_kg", "born"])}`,
  club: (v) => (v ? `Club: ${told(v, ["name", "length_m", "mass_kg", "balance_m", "inertia_kg_m2", "loft_deg", "lie_deg"])}` : "No such club"),
  consent: (v) => `Consent to ${v?.scope} ${v?.given ? "given" : "withdrawn"}${v?.guardian ? `, by ${v.guardian}` : ""}`,
  seat: (v) => seatWords(v),
  band: (v, e) => `Band of ${metricName(e.key.slice(5))}: ${bandWords(e.key.slice(5), v)}`,
  focus: (v) => (v?.length ? `Focus: ${v.map(metricName).join(" · ")}` : "No focus"),
  limits: (v) => (v?.length ? `To be spared: ${v.map((l) => l.movement.replaceAll("_", " ")).join(", ")}` : "Nothing to be spared"),
  full_effort_max: (v) => (v === null ? "Full-effort limit: the usual one" : `Full-effort limit: ${v}`),
  threshold: (v, e) => thresholdWords(e.key.split(":").slice(1), v?.value ?? null),
  cue: () => "Coach's words for a leak",
  checked_in: (v) => (v ? `Checked in: ${v}` : "Check-in open again"),
  footing: (v) => (v ? `Footing: ${v}` : "Footing not told"),
  keep: (v) => `To keep: ${v?.join(" · ")}`,
  next: (v) => `Next lesson: ${v ?? "open"}`,
};

const size = (meters) => `${digits(meters, "m")} ${label("m")}`;

/** How what is told of a student or a club is said, by field. */
const TOLD = {
  name: (v) => v,
  side: (v) => `${v}-handed`,
  sex: (v) => v,
  born: (v) => `born ${v}`,
  length_m: (v) => `${size(v)} long`,
  lie_deg: (v) => `lie ${digits(v, "deg")}°`,
  loft_deg: (v) => `loft ${digits(v, "deg")}°`,
  height_m: (v) => `${size(v)} tall`,
  mass_kg: (v) => `${Number(v.toFixed(3))} kg`,
  balance_m: (v) => `balance point at ${size(v)}`,
  inertia_kg_m2: (v) => `moment of inertia ${Number(v.toPrecision(3))} kg m²`,
};

const told = (of, fields) => fields.filter((f) => (of?.[f] ?? null) !== null).map((f) => TOLD[f](of[f])).join(", ");

function seatWords(seat) {
  const unkept = { guest: "A guest swings, the lesson waits", coach: "The coach shows something, the lesson waits", nobody: "The lesson ended" }[seat?.mode];
  const held = student() && model.students?.find((s) => s.id === student().id)?.clubs.find((c) => c.id === seat?.club);
  return unkept ?? `In the bay${held ? ` with the ${held.name}` : ""}`;
}

function thresholdWords([leak, name], number) {
  const line = model.thresholds.lines.find((t) => t.leak === leak && t.name === name);
  const said = number === null ? "the default" : line ? `${digits(number, line.unit)} ${label(line.unit)}` : number;
  return `Threshold, ${line?.words ?? `${leak}, ${name}`.replaceAll("_", " ")}: ${said}`;
}

function note(notes) {
  const last = notes?.at(-1);
  if (!last) return "no notes";
  return `note ${last.at ? `at ${eventName(last.at)} ` : ""}“${last.text}”`;
}

/** Edges of a band in words, in the unit of its metric. */
export function bandWords(metric, band) {
  const unit = model.catalogue.get(metric)?.unit ?? model.lesson?.focus.find((f) => f.metric === metric)?.unit;
  if (!band || band.default) return "the default";
  if (!unit) return "edges";
  const parts = ["low", "aim", "high"].filter((e) => band[e] !== null && band[e] !== undefined).map((e) => `${e} ${value(metric, band[e], unit)}`);
  return parts.join(", ") || "none";
}
