// With what the Shelf opens when nobody said: the newest lesson's baseline against its last block, else the
// two newest shots.

import { get } from "./api.js";

/** Two picks, or fewer where there is less. */
export async function startingPicks() {
  const { sessions } = await get("sessions");
  for (const session of sessions) {
    const blocks = session.blocks.filter((b) => b.shots > 1);
    const last = blocks.at(-1);
    const first = blocks.find((b) => b.purpose === "baseline" && b.club === last.club && b.id !== last.id) ?? blocks.findLast((b) => b.club === last.club && b.id !== last.id);
    if (first) return { a: pick("block", first.id), b: pick("block", last.id) };
  }
  const { swings } = await get("swings", { kind: "shot" });
  const [b, a] = swings;
  return a ? { a: pick("swing", a.id), b: pick("swing", b.id) } : { a: b ? pick("swing", b.id) : null, b: null };
}

const pick = (of, id) => ({ of, id: String(id) });
