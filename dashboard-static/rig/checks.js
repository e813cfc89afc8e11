// From what the bay says to the checks of the day: each with its figure, its limit, a state and what to do.
// Pure functions of one `view` (main.js makes it); nothing is drawn here.

import { CLUSTERS, LIMITS, judge, judgeLeast, worst } from "./limits.js";
import { bytes, count, figure, landmark, list } from "./say.js";

/** Which check a finding of the bay belongs to, by the start of its code. */
const HOME = [
  ["stream.lost", "loss"], ["stream.late", "loss"], ["stream.paused", "loss"], ["stream.undescribed", "rate"],
  ["stream.silent", "rate"], ["stream.", "order"], ["plate.", "zero"],
  ["rig.", "motion"], ["clock.", "clock"], ["map.", "names"], ["udp.buffer", "buffer"], ["pipeline.", "buffer"],
  ["udp.", "order"], ["recording.", "kept"], ["archive.", "kept"], ["disk.", "kept"], ["consent.", "kept"], ["swing.unarchived", "kept"],
];
const SEVERITY = { error: "wrong", warning: "look", info: "ok" };

/** Every check in the order in which a day begins: does anything come, is it whole, is it right, is it kept. */
export function checks(view) {
  const all = [link, rate, loss, order, buffer, names, hidden, visible, residual, feet, zero, motion, clock, kept];
  return all.map((check) => withFindings(check(view), view));
}

/** Findings of the bay that belong to no check. */
export function otherFindings(view) {
  return findings(view).filter((f) => !homeOf(f));
}

/** Findings that belong to one check. */
export function findingsOf(view, id) {
  return findings(view).filter((f) => homeOf(f) === id);
}

/** Streams of one content. */
export function streams(view, content) {
  return (view.health?.streams ?? []).filter((s) => !content || s.content === content);
}

/** A metric of the last swing: its value, or null and the reason. */
export function metric(view, id) {
  const found = view.swing?.measurement.metrics[id];
  if (!found) return { value: null, reason: view.swing ? "this bay does not measure it" : "no swing yet" };
  return { value: found.value, reason: found.reason ?? "" };
}

/** Share of all datagrams of a stream, percent. */
export const share = (part, { received, lost }) => (received + lost ? (100 * part) / (received + lost) : 0);

const findings = (view) => (view.linked ? view.health?.findings ?? [] : []);
const homeOf = ({ code }) => HOME.find(([start]) => code.startsWith(start))?.[1];

// A finding makes its check as bad as it is itself, and its text says what to do.
function withFindings(check, view) {
  const own = findingsOf(view, check.id);
  const weight = (f) => (f.code === "pipeline.dropped" && !view.dropsNow ? "look" : SEVERITY[f.severity] ?? "look");
  if (!view.linked && check.id !== "link") return { ...check, state: "unknown", todo: [] };
  const todo = [...own.map((f) => f.text), ...(check.state === "ok" ? [] : [check.todo].flat())].filter(Boolean);
  return { ...check, state: worst(check.state, own.map(weight)), todo };
}

function link(view) {
  const base = { id: "link", name: "Word from the bay", limit: `silence up to ${LIMITS.silence} s` };
  if (view.problem) return { ...base, state: "wrong", figure: "—", todo: view.problem };
  if (!view.linked) return { ...base, state: "wrong", figure: "no signal", todo: "Start the bay's program: whin serve. This page comes back by itself." };
  if (view.state === "no_signal") return { ...base, state: "wrong", figure: "no frames", todo: "The program runs, but no frames arrive: start the capture system's stream and check its address and the cable." };
  return { ...base, state: "ok", figure: "frames arrive", todo: "" };
}

function rate(view) {
  const base = { id: "rate", name: "Frame rate", limit: `within ${100 * LIMITS.rate.fine} % of what is described, ${LIMITS.frames.fine} a second and more` };
  const [markers] = streams(view, "markers");
  if (!markers) return { ...base, state: "unknown", figure: "—", todo: "No stream of markers has come yet: start the capture system." };
  if (view.state === "no_signal") return { ...base, state: "unknown", figure: "no frames", todo: "" };
  const told = markers.rate_hz;
  const off = told && markers.seen_hz !== null ? Math.abs(markers.seen_hz - told) / told : null;
  const others = streams(view).filter((s) => s.rate_hz && s.content !== "trigger").map((s) => rateState(s));
  const slow = judgeLeast(told, LIMITS.frames);
  const todo = [
    off > LIMITS.rate.fine && `Frames come ${figure(markers.seen_hz / told, 2)} times as often as the sender describes: set the right rate in the sender, and look whether a recording is being played.`,
    slow === "wrong" && "Below 90 frames a second no club speed is measured near impact: set the cameras faster.",
    slow === "look" && "Below 200 frames a second speeds near impact are marked as less sure: set the cameras faster.",
  ];
  return { ...base, state: worst(slow, others), figure: `${figure(markers.seen_hz)} of ${figure(told)} a second`, todo };
}

/** How a stream's rate stands. */
export function rateState(stream) {
  if (!stream.rate_hz || stream.seen_hz === null) return "unknown";
  return judge(Math.abs(stream.seen_hz - stream.rate_hz) / stream.rate_hz, LIMITS.rate);
}

function loss(view) {
  const all = streams(view);
  const most = all.length ? Math.max(...all.map((s) => s.loss_percent)) : null;
  const state = judge(most, LIMITS.loss);
  return {
    id: "loss", name: "Loss on the way", figure: figure(most, 2, most === null ? "" : "%"), state,
    limit: `up to ${LIMITS.loss.fine} % in ten seconds`,
    todo: state === "unknown" ? "" : "Use a cable instead of radio, and a switch of its own for the capture system.",
  };
}

function order(view) {
  const all = streams(view);
  const late = all.length ? Math.max(...all.map((s) => share(s.late, s))) : null;
  const twice = all.length ? Math.max(...all.map((s) => share(s.duplicate, s))) : null;
  const refused = (view.health?.refused ?? []).reduce((sum, r) => sum + r.count, 0);
  const state = worst(judge(late, LIMITS.late), judge(twice, LIMITS.twice), refused ? "look" : "ok");
  const todo = [
    judge(late, LIMITS.late) !== "ok" && late !== null && "Datagrams come too late to be used: other traffic is on this network, or the sender holds them back.",
    judge(twice, LIMITS.twice) !== "ok" && twice !== null && "Datagrams come twice: two ways lead from the sender to this computer; take one away.",
  ];
  return {
    id: "order", name: "Late, double or refused", state: all.length ? state : "unknown", todo,
    figure: all.length ? `${figure(late, 2)} % late, ${refused} refused` : "—",
    limit: `up to ${LIMITS.late.fine} % late, ${LIMITS.twice.fine} % double, none refused`,
  };
}

function buffer(view) {
  const base = { id: "buffer", name: "Pace of this computer", limit: "none dropped in the last minute, the whole buffer", todo: "" };
  if (!view.health) return { ...base, state: "unknown", figure: "—" };
  const { receive_buffer: { asked, granted }, dropped } = view.health;
  const state = worst(granted < asked ? "look" : "ok", view.dropsNow ? "wrong" : dropped > 0 ? "look" : "ok");
  const when = dropped ? (view.dropsNow ? " and counting" : ", none lately") : "";
  return { ...base, state, figure: `${dropped} dropped${when}`, limit: `${base.limit} of ${bytes(asked)} (${bytes(granted)} granted)` };
}

function names(view) {
  const [markers] = streams(view, "markers");
  const odd = findingsOf(view, "names").length;
  return {
    id: "names", name: "Marker names", limit: "every name of the marker map comes", todo: "",
    state: markers?.landmarks ? "ok" : "unknown",
    figure: markers ? `${count(markers.landmarks, "landmark")}${odd ? `, ${count(odd, "remark")}` : ""}` : "—",
  };
}

function hidden(view) {
  const base = { id: "hidden", name: "Markers hidden now", limit: "none while the student stands at address" };
  const { known, somebody, hidden: missing, total } = view.markers;
  if (!known) return { ...base, state: "unknown", figure: "—", todo: "" };
  if (!somebody) return { ...base, state: "unknown", figure: "nobody in view", todo: "" };
  const most = missing.length > total / 4;
  return {
    ...base, state: missing.length === 0 ? "ok" : most ? "wrong" : "look", figure: `${missing.length} of ${total}`,
    todo: missing.length ? `Hidden: ${list(missing.map(landmark), 5)}. Look at the marker, then at what stands between it and the cameras.` : "",
  };
}

function visible(view) {
  const base = { id: "visible", name: "Markers in the last swing", limit: `worst marker ${LIMITS.visible.fine} % and more, gaps up to ${LIMITS.gap.fine} ms` };
  const [least, gap] = [metric(view, "marker_visibility"), metric(view, "gap_longest")];
  if (least.value === null) return { ...base, state: "unknown", figure: "—", todo: view.swing ? least.reason : "" };
  const state = worst(judgeLeast(least.value, LIMITS.visible), judge(gap.value, LIMITS.gap));
  const bad = faults(view).slice(0, 3).map((f) => landmark(f.landmark));
  return {
    ...base, state, figure: `${figure(least.value)} %, gap ${figure(gap.value)} ms`,
    todo: `Worst: ${list(bad) || "see the table of markers"}. Tape the marker anew, tuck in cloth, or move a camera to where that side is seen. Holes of up to ${LIMITS.gap.most} ms in the body are bridged.`,
  };
}

/** Markers that were bad in the last swing, worst first. */
export function faults(view) {
  const bad = (f) => f.missing_frames + f.rejected_frames + f.exchanged_frames;
  return [...(view.swing?.measurement.markers ?? [])].sort((a, b) => bad(b) - bad(a));
}

/** Whether a marker's faults are worth a sign: exchanged or rejected, or missing for long. */
export function serious(fault, view) {
  const frames = view.swing?.transport.frames ?? 0;
  return fault.rejected_frames + fault.exchanged_frames > 0 || fault.missing_frames > LIMITS.missing * frames;
}

/** Misfit of each cluster with its limit and state. */
export function clusters(view) {
  return Object.entries(CLUSTERS).map(([name, kind]) => {
    const { value, reason } = metric(view, `cluster_residual.${name}`);
    return { name, kind, value, reason, limit: LIMITS[kind].fine, state: judge(value, LIMITS[kind]) };
  });
}

function residual(view) {
  const all = clusters(view).filter((c) => c.value !== null);
  const base = { id: "residual", name: "Stiffness of marker sets", limit: `${LIMITS.stiff.fine} mm on head and club, ${LIMITS.skin.fine} mm on skin` };
  if (!all.length) return { ...base, state: "unknown", figure: "—", todo: "" };
  const most = all.reduce((a, b) => (b.value / b.limit > a.value / a.limit ? b : a));
  const off = all.filter((c) => c.state !== "ok").map((c) => c.name);
  return {
    ...base, state: worst(all.map((c) => c.state)), figure: `${most.name} ${figure(most.value, 1)} mm`,
    todo: `A marker of ${list(off)} is loose or names are exchanged: press each one, see the names in the live view, calibrate the student anew.`,
  };
}

function feet(view) {
  const base = { id: "feet", name: "Feet on the plates", limit: "one foot, one plate" };
  if (!streams(view, "forces").length) {
    return { ...base, state: "unknown", figure: "no force stream", todo: view.health ? "Without plates forces are not measured; everything else is." : "" };
  }
  const plates = view.plates;
  if (!plates) return { ...base, state: "unknown", figure: "after the first swing", todo: "" };
  const feetOf = plates.map((p) => `${p.foot ?? "no"} foot on ${p.name}`);
  const good = ["lead", "trail"].every((side) => plates.filter((p) => p.foot === side).length === 1);
  const silent = plates.filter((p) => p.reason).map((p) => `${p.name}: ${p.reason}.`);
  return {
    ...base, state: good && !silent.length ? "ok" : "look", figure: good ? "lead and trail" : list(feetOf, 2),
    todo: [...silent, good ? "" : "Let the student stand with one whole foot on each plate; a foot across two plates gives sums only."],
  };
}

function zero(view) {
  const base = { id: "zero", name: "Zero of the plates", limit: `no remark; zeroed, drift up to ${LIMITS.drift.fine} N` };
  if (!streams(view, "forces").length) return { ...base, state: "unknown", figure: "no force stream", todo: "" };
  const odd = findingsOf(view, "zero").length;
  const plates = view.platesNow ?? [];
  const never = plates.filter((p) => !p.zero).map((p) => p.name);
  const drift = plates.length ? Math.max(...plates.map((p) => p.zero?.drift_n ?? 0)) : null;
  const said = [odd ? count(odd, "remark") : "no remark", drift === null || never.length ? "" : `drift ${figure(drift, 1)} N`].filter(Boolean).join(", ");
  return {
    ...base, figure: never.length ? `never: ${list(never, 2)}` : said, state: worst(never.length ? "look" : "ok", drift === null ? "ok" : judge(drift, LIMITS.drift)),
    todo: never.length ? "Step off the plates, take everything off them and wait half a second: they zero themselves." : "The zero wanders: let the plates warm up, then zero them at the amplifier.",
  };
}

function motion(view) {
  const base = { id: "motion", name: "Plates against motion", limit: `${LIMITS.force.fine} % of body weight, ${LIMITS.lag.fine} ms` };
  const [left, lag] = [metric(view, "force_residual"), metric(view, "force_marker_lag")];
  if (left.value === null) return { ...base, state: "unknown", figure: "—", todo: view.swing ? `Not measured in the last swing: ${left.reason}.` : "" };
  const state = worst(judge(left.value, LIMITS.force), judge(lag.value === null ? null : Math.abs(lag.value), LIMITS.lag));
  return {
    ...base, state, figure: `${figure(left.value, 1)} %, ${figure(lag.value, 1)} ms`,
    todo: Math.abs(lag.value) > LIMITS.lag.fine ? "Plates and cameras are apart in time: do the sync tap below." : "Zero the plates, check which plate is which and the student's mass; see Plates below.",
  };
}

function clock(view) {
  const base = { id: "clock", name: "Clocks and delay", limit: `known to ${LIMITS.clock.fine} ms, slowest ${LIMITS.delay.fine} ms late` };
  const { value, reason } = metric(view, "clock_uncertainty");
  const clocks = streams(view).flatMap((s) => s.clock ?? []);
  const delay = clocks.length ? Math.max(...clocks.map((c) => c.delay_ms)) : null;
  const slow = judge(delay, LIMITS.delay);
  if (value === null && (slow === "ok" || slow === "unknown")) return { ...base, state: "unknown", figure: "—", todo: view.swing ? reason : "" };
  const words = [value === null ? "" : value === 0 ? "one clock" : `± ${figure(value, 2)} ms`, delay === null ? "" : `slowest ${figure(delay, 1)} ms`];
  const todo = [
    value !== null && judge(value, LIMITS.clock) !== "ok" && "Let the streams run for two minutes; then do the sync tap below.",
    !["ok", "unknown"].includes(slow) && "Datagrams wait, and results come later: close other programs on this computer, use a cable, and let no other traffic on this network.",
  ];
  return { ...base, state: worst(value === null ? "ok" : judge(value, LIMITS.clock), slow === "unknown" ? "ok" : slow), figure: words.filter(Boolean).join(", "), todo };
}

function kept(view) {
  const base = { id: "kept", name: "Archive", limit: "recorded, each swing archived" };
  const last = view.swing && view.archived.findLast((a) => a.id === view.swing.id);
  if (!view.recording) return { ...base, state: "unknown", figure: "—", todo: "" };
  const recorded = view.recording.startsWith("recorded");
  const damaged = view.disk?.verified?.damaged;
  const state = damaged || (last && !last.archived) ? "wrong" : recorded ? "ok" : "look";
  const words = last ? (last.archived ? ", last swing archived" : ", last swing not archived") : "";
  return {
    ...base, state, figure: recorded ? `recorded${words}` : "not recorded",
    todo: damaged ? "The check found something missing or damaged: see Archive below." : last && !last.archived ? `Not archived: ${last.reason}.` : `${view.recording}. Choose a student with consent on the Lesson page.`,
  };
}
