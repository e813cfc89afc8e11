// What the screen knows: one plain object and a pure function per message of `protocol/src/screen.rs`.
// No drawing and no network here.

/** Major version of the messages that this screen understands. */
export const MAJOR = 1;
const SWINGS_KEPT = 20;
/** Revision of a report of the whole swing; the next one has uncertainties. */
const WHOLE = 2;

/** Before the first message. */
export const initial = Object.freeze({
  linked: false, problem: null, bay: null, bayName: "", recording: "", state: "no_signal",
  landmarks: [], swings: [], archived: [], health: null, live: null,
  lesson: null, ended: null, outside: null, others: null,
});

/** The screen after the line came or went. */
export function link(screen, linked) {
  return { ...screen, linked, live: linked ? screen.live : null };
}

/** The screen after one message; what it does not know it leaves aside. */
export function apply(screen, message) {
  if (message.type === "hello") return hello(screen, message);
  if (screen.problem || message.bay !== screen.bay) return screen;
  switch (message.type) {
    case "status": return { ...screen, state: message.state };
    case "live": return live(screen, message);
    case "swing": return { ...screen, swings: withReport(screen.swings, message) };
    case "archived": return { ...screen, archived: [...screen.archived, message].slice(-SWINGS_KEPT) };
    case "health": return { ...screen, health: message };
    case "lesson": return lesson(screen, message);
    default: return screen;
  }
}

/** The last swing that was hit, by whomever, or `null`. */
export function lastSwing(screen) {
  return screen.swings.at(-1) ?? null;
}

/** The swing on show: the last one, unless somebody else came into the bay since; or `null`. */
export function shownSwing(screen) {
  const swing = lastSwing(screen);
  return swing?.id === screen.others ? null : swing;
}

/** What became of the swing on show in the archive; `null` while that is open or without an archive. */
export function lastArchived(screen) {
  const swing = shownSwing(screen);
  return screen.archived.findLast((said) => said.id === swing?.id) ?? null;
}

function hello(screen, message) {
  const theirs = String(message.version);
  if (Number.parseInt(theirs, 10) !== MAJOR) {
    return { ...initial, linked: true, problem: `this screen speaks version ${MAJOR}, the bay speaks ${theirs}: load the page again` };
  }
  return {
    linked: true, problem: null, bay: message.bay, bayName: message.bay_name,
    recording: message.recording, state: message.state, landmarks: message.landmarks,
    swings: message.swings, archived: message.archived ?? [], health: message.health, live: null,
    lesson: message.lesson ?? null, ended: null, outside: outside(message.swings, message.lesson),
    others: others(screen, message.swings, message.lesson),
  };
}

// `ended` is the block that was shown last, while no other one goes on in the same lesson. `outside` is a
// swing from before the block began: it must not be taken for the block's. `others` is the last swing of
// whoever stood there before: nobody's numbers stand under somebody else's name.
function lesson(screen, message) {
  const before = screen.lesson;
  const same = before?.seat?.session === message.seat?.session;
  const began = before?.block?.id !== message.block?.id;
  return {
    ...screen, lesson: message, recording: message.recording,
    ended: same && !message.block ? (before.block ? closed(before, message) : screen.ended) : null,
    outside: began ? outside(screen.swings, message) : screen.outside,
    others: others(screen, screen.swings, message),
  };
}

/** Who stands in the bay, so that a change is noticed; nobody is nobody's change. */
export const personOf = (lesson) => (lesson?.seat ? `${lesson.seat.mode} ${lesson.seat.student?.id ?? ""}` : "");

// A screen that was just opened knows of no change, and takes the last swing for his who is there.
function others({ bay, lesson: before, others: known }, swings, lesson) {
  const person = personOf(lesson);
  return bay && person && person !== personOf(before) ? swings.at(-1)?.id ?? null : known;
}

// A block as it was when it ended; what was hidden in a check may be shown now.
function closed(before, after) {
  return { ...before, feedback: true, block: after.blocks.find((b) => b.id === before.block.id) ?? before.block };
}

function outside(swings, lesson) {
  const last = swings.at(-1)?.id ?? null;
  return lesson?.shots.some((shot) => shot.swing === last) ? null : last;
}

function live(screen, message) {
  const landmarks = message.landmarks?.length ? message.landmarks : screen.landmarks;
  return { ...screen, landmarks, live: liveOf(message) };
}

function liveOf(message) {
  const { time_s: timeS, points, pelvis_shift: shift = null, pelvis_rotation: rotation = null } = message;
  return { timeS, points, shift, rotation };
}

// A later revision takes the place of its swing; a swing that is not on the list is a new one, but for a
// last revision: it was on the list, and comes so late that newer swings have pushed it off.
function withReport(swings, report) {
  const at = swings.findIndex((s) => s.id === report.id);
  if (at < 0) return report.revision > WHOLE && swings.length === SWINGS_KEPT ? swings : [...swings, report].slice(-SWINGS_KEPT);
  return report.revision < swings[at].revision ? swings : swings.with(at, report);
}
