// From named landmarks to the solid shapes of a figure: tapered capsules between joints, plates for
// pelvis and thorax, the club. Built from whatever is there: a missing landmark costs its segments,
// no more. For the eye only: nothing is measured here.

import { add, along, cross, dot, length, mean, scale, sub, unit } from "./vector.js";

// Radii in metres, near the average adult's limb; a figure needs no more.
const RADIUS = { shoulder: 0.05, elbow: 0.036, wrist: 0.026, hand: 0.036, hip: 0.078, knee: 0.05, ankle: 0.035, toe: 0.026, neck: 0.048, waist: 0.098 };
const HEAD_RADIUS = 0.098;
// From the middle of the head to the middles of its crown and chin.
const SKULL = 0.035;
const LONGEST_HAND = 0.3;
const HANDS_FROM_BUTT = 0.1;

/**
 * The shapes of one pose.
 * @param {(name: string) => number[]|null} get point of a landmark in bay axes, metres
 * @param {"right"|"left"} handed
 * @returns {object[]} shapes: `capsule`, `plate`, `ball`, `club`
 */
export function figure(get, handed) {
  const pelvis = pelvisFrame(get);
  const thorax = thoraxFrame(get);
  const shapes = [];
  for (const anatomical of ["left", "right"]) {
    const side = (anatomical === "left") === (handed === "right") ? "lead" : "trail";
    shapes.push(...arm(get, anatomical, side), ...leg(get, anatomical, side));
  }
  shapes.push(...trunk(get, pelvis, thorax), ...club(get));
  return shapes;
}

/** Middle of the club head, or `null`: one end alone would make its path jump. */
export function headPoint(get) {
  return mean(get("club_head_toe"), get("club_head_heel"));
}

/** Where the golfer stands: middle of the hips, or `null`. */
export function pelvisPoint(get) {
  return mean(hip(get, "left"), hip(get, "right"));
}

function arm(get, anatomical, side) {
  const shoulder = get(`${anatomical}_acromion`);
  const elbow = get(`${anatomical}_elbow`);
  const wrist = wristPoint(get, anatomical);
  const grip = gripPoint(get);
  const hand = wrist && grip && length(sub(grip, wrist)) < LONGEST_HAND ? grip : null;
  return [
    capsule(shoulder, elbow, RADIUS.shoulder, RADIUS.elbow, side),
    capsule(elbow, wrist, RADIUS.elbow, RADIUS.wrist, side),
    capsule(wrist, hand, RADIUS.wrist, RADIUS.hand, side),
  ].flat();
}

function leg(get, anatomical, side) {
  const knee = get(`${anatomical}_knee`);
  const ankle = get(`${anatomical}_ankle`);
  return [
    capsule(hip(get, anatomical), knee, RADIUS.hip, RADIUS.knee, side),
    capsule(knee, ankle, RADIUS.knee, RADIUS.ankle, side),
    foot(get(`${anatomical}_heel`) ?? ankle, get(`${anatomical}_toe`), ankle, side),
  ].flat();
}

// `foot` marks the shape under which the side's word is written.
function foot(heel, toe, ankle, side) {
  if (heel && toe) return [{ kind: "capsule", a: heel, b: toe, ra: RADIUS.ankle, rb: RADIUS.toe, side, foot: true }];
  return ankle ? [{ kind: "ball", center: ankle, radius: 0.05, side, foot: true }] : [];
}

function trunk(get, pelvis, thorax) {
  const shapes = [];
  if (pelvis) shapes.push({ kind: "plate", tone: "pelvis", ...pelvis });
  if (thorax) shapes.push({ kind: "plate", tone: "thorax", ...thorax });
  if (pelvis && thorax) shapes.push(...core(pelvis.center, thorax.center, RADIUS.waist));
  return shapes.concat(head(get, thorax));
}

function head(get, thorax) {
  if (!thorax) return [];
  const marked = mean(get("head_left"), get("head_right"));
  const neck = along(thorax.center, thorax.half[1] + 0.02, thorax.up);
  if (marked) {
    const [chin, crown] = [-1, 1].map((end) => along(marked, end * SKULL, skullUp(get, marked) ?? thorax.up));
    const skull = { kind: "capsule", a: crown, b: chin, ra: HEAD_RADIUS, rb: 0.8 * HEAD_RADIUS, side: "middle", front: get("head_front") };
    return [skull, ...core(neck, marked, RADIUS.neck)];
  }
  // A reduced set has no head: an empty outline says where it would be, and that it is not known.
  return [{ kind: "ball", center: along(along(neck, 0.19, thorax.up), 0.04, thorax.front), radius: HEAD_RADIUS, side: "ghost" }];
}

// Which way the crown is.
function skullUp(get, middle) {
  const [left, right, front] = ["head_left", "head_right", "head_front"].map(get);
  return left && right && front ? unit(cross(sub(right, left), sub(front, middle))) : null;
}

function club(get) {
  const line = [get("club_butt"), gripPoint(get), get("club_shaft_mid"), get("club_shaft_low"), get("club_head_heel") ?? get("club_head_toe")].filter(Boolean);
  if (line.length < 2) return [];
  const head = ["club_head_heel", "club_head_toe", "club_head_back"].map(get).filter(Boolean);
  return [{ kind: "club", line, head }];
}

function gripPoint(get) {
  const marked = mean(get("club_grip_a"), get("club_grip_b"));
  const [butt, low] = [get("club_butt"), get("club_shaft_low")];
  return marked ?? (butt && low ? along(butt, HANDS_FROM_BUTT, unit(sub(low, butt))) : null);
}

function wristPoint(get, side) {
  return get(`${side}_wrist`) ?? mean(get(`${side}_radial_styloid`), get(`${side}_ulnar_styloid`));
}

// Hip joint centers by Harrington et al. 2007 (J Biomech 40:595, single-regression form) where the
// iliac spines are marked, else the hip points of a reduced set.
function hip(get, side) {
  const marked = get(`${side}_hip`);
  if (marked) return marked;
  const spines = spineFrame(get);
  if (!spines) return null;
  const { width, depth, right, up, front, origin } = spines;
  const lateral = (0.33 * width + 0.0073) * (side === "right" ? 1 : -1);
  return along(along(along(origin, -0.24 * depth - 0.0099, front), -0.3 * width - 0.0109, up), lateral, right);
}

function spineFrame(get) {
  const [la, ra, lp, rp] = ["left_asis", "right_asis", "left_psis", "right_psis"].map(get);
  const origin = mean(la, ra);
  const back = mean(lp, rp);
  if (!origin || !back) return null;
  const right = unit(sub(ra, la));
  const up = unit(cross(right, sub(origin, back)));
  return { origin, back, right, up, front: cross(up, right), width: length(sub(ra, la)), depth: length(sub(origin, back)) };
}

function pelvisFrame(get) {
  const spines = spineFrame(get);
  if (spines) {
    const { origin, back, right, up, front, width, depth } = spines;
    return { center: along(mean(origin, back), -0.03, up), right, up, front, half: [0.55 * width + 0.02, 0.085, 0.5 * depth], taper: 0.9 };
  }
  const [left, rightHip] = [get("left_hip"), get("right_hip")];
  const shoulders = get("mid_shoulder") ?? mean(get("left_acromion"), get("right_acromion"));
  if (!left || !rightHip || !shoulders) return null;
  const frame = uprightFrame(left, rightHip, sub(shoulders, mean(left, rightHip)));
  return { ...frame, center: along(mean(left, rightHip), 0.02, frame.up), half: [0.5 * length(sub(rightHip, left)) + 0.045, 0.085, 0.08], taper: 0.9 };
}

function thoraxFrame(get) {
  const [c7, t8, notch, xiphoid] = ["c7", "t8", "sternal_notch", "xiphoid"].map(get);
  const [left, right] = [get("left_acromion"), get("right_acromion")];
  const shoulderWidth = left && right ? length(sub(right, left)) : 0.36;
  const top = mean(notch, c7);
  const bottom = mean(xiphoid, t8);
  if (top && bottom) {
    const up = unit(sub(top, bottom));
    const ahead = sub(mean(notch, xiphoid), mean(c7, t8));
    const front = unit(along(ahead, -dot(ahead, up), up));
    const half = [0.46 * shoulderWidth, 0.5 * length(sub(top, bottom)) + 0.04, 0.08];
    return { center: mean(top, bottom), right: cross(front, up), up, front, half, taper: 0.74 };
  }
  return reducedThorax(get, left, right, shoulderWidth);
}

function reducedThorax(get, left, right, shoulderWidth) {
  const hips = pelvisPoint(get);
  const shoulders = mean(left, right);
  if (!hips || !shoulders) return null;
  const frame = uprightFrame(left, right, sub(shoulders, hips));
  return { ...frame, center: along(shoulders, -0.14, frame.up), half: [0.46 * shoulderWidth, 0.15, 0.08], taper: 0.74 };
}

// Axes from a line between a left and a right point and a direction that is roughly up.
function uprightFrame(left, rightPoint, upward) {
  const up = unit(upward);
  const line = sub(rightPoint, left);
  const right = unit(add(line, scale(up, -dot(line, up))));
  return { right, up, front: cross(up, right) };
}

// What joins the plates and the head; drawn behind them, so that it never hides which way they face.
function core(a, b, radius) {
  return capsule(a, b, radius, radius, "middle").map((shape) => ({ ...shape, bias: -0.2 }));
}

function capsule(a, b, ra, rb, side) {
  return a && b ? [{ kind: "capsule", a, b, ra, rb, side }] : [];
}
