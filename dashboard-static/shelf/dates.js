// Dates of the archive as people read them. Instants are nanoseconds since 1970 in UTC; a page that parses
// them as plain numbers knows them to a microsecond, which is enough to be read.

const DAY_MS = 86_400_000;
const date = (ns) => new Date(Number(ns) / 1e6);
const inZone = (zone, how) => {
  try {
    return new Intl.DateTimeFormat("en-GB", { ...how, timeZone: zone || undefined });
  } catch {
    return new Intl.DateTimeFormat("en-GB", how);
  }
};

/** `26 Nov 2026`, where the bay stands. */
export const day = (ns, zone) => inZone(zone, { day: "numeric", month: "short", year: "numeric" }).format(date(ns));

/** `Thursday 26 November 2026`. */
export const longDay = (ns, zone) => inZone(zone, { weekday: "long", day: "numeric", month: "long", year: "numeric" }).format(date(ns));

/** `14:05`. */
export const clockTime = (ns, zone) => inZone(zone, { hour: "2-digit", minute: "2-digit" }).format(date(ns));

/** `14:05:09`. */
export const exactTime = (ns, zone) => inZone(zone, { hour: "2-digit", minute: "2-digit", second: "2-digit" }).format(date(ns));

/** A told date (`2026-12-03`) as `Thursday 3 December 2026`; what is no date stays as it is. */
export function told(text) {
  const at = Date.parse(`${text}T12:00:00Z`);
  return Number.isNaN(at) ? text : longDay(at * 1e6, "UTC");
}

/** The instant at which a day begins here, `later` days on, as digits for a question; empty without a day. */
export function startOf(text, later = 0) {
  if (!text) return "";
  const [year, month, dayOfMonth] = text.split("-").map(Number);
  return `${BigInt(new Date(year, month - 1, dayOfMonth).getTime() + later * DAY_MS) * 1_000_000n}`;
}
