// What a tap does: each verb asks the daemon and shows its words when it refuses. What changed comes back
// by the bay's own message.

import { get, send } from "./api.js";
import { add } from "./ledger.js";
import { changed, model, session, student, ui } from "./model.js";

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

/** Who stands in the bay. */
export const sit = (seat) => act(() => send("PUT", `bays/${model.bay}/seat`, seat));
export const beginBlock = (purpose, planned) => act(() => send("POST", `bays/${model.bay}/blocks`, planned ? { purpose, planned } : { purpose }));
export const endBlock = () => act(() => send("DELETE", `bays/${model.bay}/blocks/open`));

/** Fetches the students on file. */
export const fetchStudents = () => act(async () => {
  model.students = (await get("students")).students;
});

/** Fetches the catalogue of metrics, once. */
export async function fetchCatalogue() {
  if (model.catalogue.size) return;
  const { metrics } = await get("metrics").catch(() => ({ metrics: [] }));
  for (const metric of metrics) model.catalogue.set(metric.id, metric);
  if (model.catalogue.size) changed();
}
