// What is opened: a swing, or a block with the shot that stands for it. Fetches all that is drawn and said
// of it. How it is drawn is not here.

import { Ground } from "../ground.js";
import { Take } from "../take.js";
import { KINDS } from "../words.js";
import { get, part } from "./api.js";
import { day, exactTime } from "./dates.js";

/** `swing:ID` or `block:7` of an address as a pick; `null` where it is neither. */
export function parse(text) {
  const [, of, id] = /^(swing|block):(.+)$/.exec(text ?? "") ?? [];
  return of ? { of, id } : null;
}

/** A pick as it stands in an address. */
export const written = (pick) => (pick ? `${pick.of}:${pick.id}` : "");

/**
 * Everything of a pick.
 * @param {{of: string, id: string}} pick
 * @param {Map<string, object>} students by identifier
 */
export async function open(pick, students) {
  const block = pick.of === "block" ? await get(`blocks/${part(pick.id)}`) : null;
  const id = block ? block.shot : pick.id;
  if (!id) throw new Error(`block ${block.block.number} has no shot yet that could stand for it`);
  const [kept, replay, curves] = await Promise.all([
    get(`swings/${part(id)}`), get(`swings/${part(id)}/replay`), get(`swings/${part(id)}/curves`),
  ]);
  const [session, ribbons] = await Promise.all([get(`sessions/${part(kept.session)}`), ribbonsOf(kept.block)]);
  return assembled({ pick, block, kept, replay, curves, session, ribbons, students });
}

// A block without curves has no ribbon; the swing is shown all the same.
async function ribbonsOf(block) {
  if (block == null) return null;
  return get(`blocks/${part(block)}/ribbons`).catch(() => null);
}

function assembled({ pick, block, kept, replay, curves, session, ribbons, students }) {
  const take = new Take(replay, kept.report.measurement.events);
  const impact = take.events.impact ?? replay.start_s - curves.start_s;
  const events = Object.fromEntries(Object.entries(take.events).map(([name, time]) => [name, time - impact]));
  const own = block?.block ?? session.blocks.find((b) => b.id === kept.block) ?? null;
  const ground = new Ground(replay);
  return {
    pick, kept, replay, curves, session, ribbons, take, ground, events, impact,
    handed: replay.handed, frame: 1 / replay.rate_hz, report: kept.report, block: own, id: kept.id,
    student: students.get(kept.student) ?? { id: kept.student, name: session.name, clubs: [] },
    ...words(pick, kept, session, own),
  };
}

function words(pick, kept, session, block) {
  const when = `${day(kept.impact_utc_ns, session.zone)}`;
  const what = `${KINDS[kept.kind] ?? kept.kind} at ${exactTime(kept.impact_utc_ns, session.zone)}`;
  const where = block ? `block ${block.number}, ${block.purpose}` : "no block";
  if (pick.of === "swing") return { title: what, detail: [where, when, kept.club].filter(Boolean).join(" · ") };
  const shots = `${block.shots} ${block.shots === 1 ? "shot" : "shots"}`;
  return { title: `Block ${block.number}, ${block.purpose}`, detail: [shots, when, kept.club].filter(Boolean).join(" · "), stands: `drawn: its ${what}, which stands for it` };
}
