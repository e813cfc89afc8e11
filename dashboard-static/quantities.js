// What each metric of the catalogue is called and which words its directions have. Signs are those of the
// catalogue. Digits and units live in figures.js.

const EVENTS = {
  address: "address", takeaway_start: "takeaway start", takeaway_end: "takeaway end",
  lead_arm_level_back: "lead arm level, going back", top: "top",
  lead_arm_level_down: "lead arm level, coming down", shaft_level_down: "shaft level down",
  impact: "impact", shaft_level_through: "shaft level through", finish: "finish",
};

const words = (plus, minus, zero = "level") => ({ plus, minus, zero });
const along = words("toward", "away");
const upward = words("up", "down");
const opening = words("open", "closed", "square");
const across = words("away from you", "toward you", "straight");
const ball = words("toward the ball", "back");
const hips = words("lead hip lower", "trail hip lower");
const bending = words("more bent", "straighter", "unchanged");
const heading = (name) => ({ name, words: opening, since: true, frame: "to target line" });
const plain = (name) => ({ name });
const share = (name) => ({ name, share: true });

// `{}` stands for the part after the dot. `since`: the change since address is what is said large where
// a report brings it. `share`: a part of a whole, said in percent. `codes`: what the digits mean.
const QUANTITIES = {
  head_speed: plain("Club head speed"),
  head_speed_peak: plain("Peak club head speed"),
  head_speed_peak_time: plain("Peak club head speed, time before impact"),
  grip_speed: plain("Grip speed"),
  grip_speed_peak: plain("Peak grip speed"),
  grip_speed_peak_time: plain("Peak grip speed, time before impact"),
  grip_path_length_down: plain("Grip path, top to impact"),
  tempo_ratio: plain("Tempo"),
  backswing_time: plain("Backswing time"),
  downswing_time: plain("Downswing time"),
  reversal_lead: plain("{} turns back, before the club"),
  pelvis_shift: { name: "Pelvis shift", words: along, since: true },
  head_shift: { name: "Head shift", words: along, since: true },
  pelvis_rise: { name: "Pelvis rise", words: upward, since: true },
  head_rise: { name: "Head rise", words: upward, since: true },
  pelvis_depth: { name: "Pelvis depth", words: ball, since: true },
  pelvis_shift_range: plain("Pelvis shift, extent in the {}"),
  pelvis_heel_offset: plain("Pelvis behind the heels"),
  pelvis_rotation: heading("Pelvis rotation"),
  thorax_rotation: heading("Thorax rotation"),
  shoulder_line_rotation: heading("Shoulder line rotation"),
  separation: plain("Separation"),
  separation_peak: plain("Largest separation"),
  separation_peak_time: plain("Largest separation, time after the top"),
  separation_closed_at_impact: share("Separation closed by impact"),
  pelvis_obliquity: { name: "Pelvis obliquity", words: hips },
  pelvis_anterior_tilt: { name: "Pelvis tilt", words: words("forward", "backward") },
  thorax_inclination: { name: "Thorax inclination", words: words("toward the ball", "away from the ball", "upright") },
  thorax_side_inclination: { name: "Thorax side inclination", words: words("away", "toward", "upright") },
  inclination_change: { name: "Thorax inclination change", words: words("more inclined", "more upright", "unchanged") },
  rotation_range_down: plain("{} rotation, top to impact"),
  rotation_rate_down: plain("{} rotation rate, top to impact"),
  rotation_balance: plain("{} rotation, open to closed"),
  rotation_excess: plain("{} rotation not brought through"),
  knee_flexion: plain("{} knee flexion"),
  knee_change: { name: "{} knee change", words: bending },
  knee_ratio: plain("{} knee flexion against address"),
  knee_onset: share("{} knee starts to move, of the backswing"),
  hip_height_difference: { name: "Hip height difference", words: hips },
  hinge: plain("Wrist hinge"),
  hinge_release_start: plain("Hinge release, time before impact"),
  attack_angle: { name: "Attack angle", words: upward },
  path_direction: { name: "Club path", words: across },
  face_direction: { name: "Face", words: opening },
  shaft_lean: { name: "Shaft lean", words: along },
  downswing_plane_slope: plain("Downswing plane slope"),
  downswing_plane_direction: { name: "Downswing plane direction", words: across },
  angular_speed_peak: plain("Peak {} turning speed"),
  angular_speed_peak_time: plain("Peak {} turning speed, time before impact"),
  angular_acceleration_peak: plain("Peak {} turning acceleration"),
  angular_acceleration_peak_time: plain("Peak {} turning acceleration, time before impact"),
  peak_ratio: plain("Peak turning speed, {} against its neighbor"),
  arrival_order: plain("Arrival order (1 pelvis, 2 thorax, 3 lead arm, 4 club)"),
  arrival_proximal_to_distal: { name: "Arrival from the body outward", codes: { 0: "no", 1: "yes" } },
  "arm_ahead.start": plain("Lead arm ahead, time after the top"),
  "arm_ahead.duration": plain("Lead arm ahead, for"),
  vertical_force: plain("{} foot force"),
  vertical_force_peak: plain("{} foot, peak force"),
  vertical_force_peak_time: plain("{} foot, peak force before impact"),
  vertical_force_peak_phase: { name: "{} foot, phase of the peak force", codes: { 1: "backswing", 2: "early down", 3: "late down" } },
  vertical_share_lead: plain("Load on the lead foot"),
  vertical_impulse_down: plain("Vertical impulse, coming down"),
  unweighting_min: plain("Least load on both feet"),
  loading_rate: plain("{} foot, loading rate"),
  "lateral_force_peak.both": plain("Peak push along the target line"),
  lateral_force_peak: plain("{} foot, peak push along the target line"),
  fore_aft_couple_peak: plain("Peak couple of the feet"),
  free_moment_peak: plain("{} foot, peak free moment"),
  ground_torque_vertical_peak: plain("Peak ground torque"),
  ground_torque_vertical_peak_time: plain("Peak ground torque, time before impact"),
  cop_lead_share: plain("Pressure toward the lead foot"),
  cop_path_length: plain("Pressure path length"),
  mass_centre_shift: { name: "Body center shift", words: along },
  mass_centre_rise: { name: "Body center rise", words: upward },
  mass_centre_drop: plain("Body center drop"),
  frontal_moment_arm_peak: plain("Ground force beside the body center"),
  kinetic_energy_peak: plain("Peak energy of the {}"),
  work_linear: plain("Work on the club by the force of the hands"),
  work_angular: plain("Work on the club by the couple of the hands"),
  work_total: plain("Work on the club"),
  early_work_share: share("Early work share"),
  power_peak: plain("Peak power on the club"),
  power_peak_time: plain("Peak power on the club, time before impact"),
  marker_visibility: plain("Markers seen"),
  gap_longest: plain("Longest gap"),
  cluster_residual: plain("Marker residual, {}"),
  force_residual: plain("Cross-check residual"),
  force_marker_lag: plain("Forces behind the markers"),
  frame_loss_rate: plain("Frames lost"),
  clock_uncertainty: plain("Clock uncertainty"),
};

const PARTS = { shoulders: "shoulder line", lead_arm: "lead arm" };

/** Name of an event in plain words. */
export function eventName(event) {
  return EVENTS[event] ?? event.replaceAll("_", " ");
}

/** What is known of a metric, by its identifier with or without an event. */
export function quantity(id) {
  const [base] = id.split("@");
  if (QUANTITIES[base]) return QUANTITIES[base];
  const [family, part] = base.split(".");
  const known = QUANTITIES[family];
  if (!known || !part) return { name: capital(base.replaceAll(/[_.]/g, " ")) };
  return { ...known, name: capital(known.name.replace("{}", PARTS[part] ?? part.replaceAll("_", " "))) };
}

/** Name of a metric as people say it: `Pelvis shift at takeaway end`. */
export function metricName(id) {
  const event = id.split("@")[1];
  const { name } = quantity(id);
  return event ? `${name} at ${event === "top" ? "the " : ""}${eventName(event)}` : name;
}

/** What plus, minus and zero of a metric mean; `null` where the sign stays a sign. */
export const signWords = (id) => quantity(id).words ?? null;

/** The word of a direction by the sign that is seen on screen: digits with a true minus. */
export function direction(words, digits) {
  if (Number(digits.replace("−", "-")) === 0) return words.zero;
  return digits.startsWith("−") ? words.minus : words.plus;
}

const capital = (text) => text[0].toUpperCase() + text.slice(1);
