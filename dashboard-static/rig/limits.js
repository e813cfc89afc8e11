// The limits of the Rig page, each with where it comes from. What is compared with them is in checks.js.
// "Own choice" means that nobody else set it; "the program" that the analysis itself draws the line there.

export const LIMITS = {
  /** Silence of the daemon, seconds. The program: health comes once a second. */
  silence: 1.8,
  /** Seen rate against the described one, share: fine, and wrong beyond. Own choice. */
  rate: { fine: 0.05, most: 0.2 },
  /** Frames a second: below `most` no club speed is measured near impact, below `fine` it is marked. The program. */
  frames: { fine: 200, most: 90 },
  /** Datagrams lost in ten seconds, percent: the program tells of it from `fine` on; `most` is own choice. */
  loss: { fine: 0.1, most: 2 },
  /** Datagrams that came after their place was given up, percent of all; own choice. */
  late: { fine: 0.1, most: 2 },
  /** Datagrams that came twice, percent of all; own choice. */
  twice: { fine: 1 },
  /** Share of a swing's frames from which a missing marker is marked as bad; own choice. */
  missing: 0.05,
  /** How often the worst marker was seen from address to impact, percent; own choice. */
  visible: { fine: 90, most: 70 },
  /** Longest gap of a marker, ms: a slow club marker is bridged over 80, a body marker over 200. The program. */
  gap: { fine: 80, most: 200 },
  /** Misfit of a stiff set of markers (head band, club), mm; noise of 0.5 mm leaves 0.5 to 0.8. Own choice. */
  stiff: { fine: 1.5, most: 4 },
  /** Misfit of markers on skin (pelvis, thorax), mm; skin moves. Own choice. */
  skin: { fine: 4, most: 10 },
  /** Plates against motion, percent of body weight; the synthetic golfer leaves 3 still, 4 with moving skin. Own choice. */
  force: { fine: 6, most: 12 },
  /** Plates against markers in time, ms: a healthy rig stays within 4 (the program's tests), 20 is always told. */
  lag: { fine: 4, most: 10 },
  /** How surely the plates' clock is known, ms: 1 is sure enough for a tap, from 5 on every value says so. The program. */
  clock: { fine: 1, most: 5 },
  /** Plates against a scale, share of the known weight; who stands still sways by less. Own choice. */
  load: { fine: 0.01, most: 0.03 },
  /** One plate under a known weight: from `some` newtons on there is a load at all; `least` is what an empty plate may be
      off its zero, and `quiet` the scatter up to which it is quiet (the program). Place from the middle, m: own choice. */
  weight: { some: 20, least: 5, quiet: 2.5, middle: 0.03 },
  /** A plate's zero since the first one, N. The program tells of it from `fine` on; `most` is own choice. */
  drift: { fine: 15, most: 30 },
  /** Slowest datagram of the last second or two against the fastest, ms: a result comes later by it, nothing else. Own choice. */
  delay: { fine: 30 },
  /** Two clocks apart, ppm: crystals differ by up to 100 (common practice, no source), the program believes 300. */
  ppm: { fine: 100, most: 299 },
  /** A sync tap, ms: surer than this is a verdict. The program. */
  tap: { fine: 1 },
  /** Minutes of recording that fit on the disk: the program warns below `fine`; `most` is own choice. */
  minutes: { fine: 60, most: 10 },
  /** Ball's place along the target line, mm: 10 are 0.25 ms at 40 m/s. Own choice. */
  ball: { fine: 10, most: 40 },
  /** Target line, degrees: every angle against the target is off by as much. Own choice. */
  line: { fine: 1, most: 3 },
  /** Known length, mm and share of it, whichever is more: half a percent is 0.2 m/s of 40 m/s. Own choice. */
  length: { least: 2, share: 0.005 },
};

/** Which cluster's misfit has which limit. */
export const CLUSTERS = { pelvis: "skin", thorax: "skin", head: "stiff", club: "stiff" };

/** `ok` up to `fine`, `look` up to `most`, else `wrong`; without `most` never worse than `look`. */
export function judge(value, { fine, most = Infinity }) {
  if (value === null || value === undefined || Number.isNaN(value)) return "unknown";
  return value <= fine ? "ok" : value <= most ? "look" : "wrong";
}

/** The same where more is better. */
export function judgeLeast(value, { fine, most = -Infinity }) {
  if (value === null || value === undefined || Number.isNaN(value)) return "unknown";
  return value >= fine ? "ok" : value >= most ? "look" : "wrong";
}

const RANK = ["ok", "unknown", "look", "wrong"];

/** The worst of several states. */
export function worst(...states) {
  return states.flat().reduce((a, b) => (RANK.indexOf(b) > RANK.indexOf(a) ? b : a), "ok");
}
