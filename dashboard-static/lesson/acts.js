// What a tap does: each verb asks the daemon and shows its words when it refuses. What changed comes back
// by the bay's own message.

import { get, send } from "./api.js";
import { add } from "./ledger.js";
import { changed, model, session, student, ui } from "./model.js";

/** Earlier shots behind a ruler. */
const PAST = 40;

/** Runs a verb; a refusal is shown and gives `null`. */
export async function act(verb) {
  try {
    const done = await verb();
    model.ui.error = null;
    changed();
    return done ?? true;
  } catch (refused) {
    ui({ error: refused.message });
    return null;
  }
}

/** Enters something; the entry comes back. */
export const enter = (about, key, value) => act(async () => {
  const entry = await send("POST", "entries", { about, key, value, who: "coach" });
  add(entry);
  return entry;
});

export const enterOfSwing = (swing, key, value) => enter({ swing }, key, value);
export const enterOfSession = (key, value) => enter({ session: session() }, key, value);
export const enterOfStudent = (key, value) => enter({ student: student().id }, key, value);

/** Takes an entry back. */
export const undo = (n) => act(async () => add(await send("POST", `entries/${n}/undo`)));

/** Who stands in the bay; `words` say what happened in the line of the undo button. */
export const sit = (seat, words = "Another seat") => act(async () => {
  const told = await send("PUT", `bays/${model.bay}/seat`, seat);
  verb(told.entry === null ? [] : [told.entry], words);
  return told;
});
export const beginBlock = (purpose, planned) => act(() => send("POST", `bays/${model.bay}/blocks`, planned ? { purpose, planned } : { purpose }));
export const endBlock = () => act(() => send("DELETE", `bays/${model.bay}/blocks/open`));

/** Moves a shot to another student, block or club; the answer says what was done. */
export const move = (swing, to, words) => act(async () => {
  const moved = await send("POST", `swings/${encodeURIComponent(swing)}/move`, to);
  verb(moved.entries, words);
  if (moved.words.length) ui({ said: moved.words.join(" ") });
  return moved;
});

/** Withdraws a consent. */
export const withdraw = (id, scope) => act(() => send("DELETE", `students/${id}/consents/${scope}`));

// A verb may enter more than one thing, and for a student whose entries are not on this page: what it takes
// to undo it is kept until something newer is entered.
function verb(entries, words) {
  model.verb = entries.length ? { entries, words, newest: Math.max(...entries) } : null;
  changed();
}

/** Takes back what the last verb did, in the order that it told. */
export const undoVerb = () => act(async () => {
  const { entries } = model.verb;
  for (const n of entries) {
    add(await send("POST", `entries/${n}/undo`));
    model.verb = { ...model.verb, entries: model.verb.entries.slice(1) };
  }
  model.verb = null;
  ui({ said: null });
});

/** Fetches the students on file. */
export const fetchStudents = () => act(async () => {
  model.students = (await get("students")).students;
});

/** Fetches what stands behind the rulers: earlier shots of the student with this club, of other blocks. */
export async function fetchPast() {
  const { seat, block, focus } = model.lesson ?? {};
  if (!seat?.student || !seat.club || !focus?.length) return;
  const metrics = focus.map((f) => f.metric);
  const of = [seat.student.id, seat.club.id, block?.id, ...metrics].join(" ");
  if (model.past.of === of) return;
  model.past = { of, values: new Map() };
  const query = new URLSearchParams({ student: seat.student.id, club: seat.club.name, kind: "shot", metrics: metrics.join(",") });
  const { swings } = await get(`swings?${query}`).catch(() => ({ swings: [] }));
  if (model.past.of !== of) return;
  const others = swings.filter((s) => !s.excluded && s.block !== block?.id);
  for (const id of metrics) model.past.values.set(id, others.map((s) => s.values[id]).filter((v) => v !== null && v !== undefined).slice(0, PAST));
  changed();
}

/** Fetches the catalogue of metrics, once. */
export async function fetchCatalogue() {
  if (model.catalogue.size) return;
  const { metrics } = await get("metrics").catch(() => ({ metrics: [] }));
  for (const metric of metrics) model.catalogue.set(metric.id, metric);
  if (model.catalogue.size) changed();
}
