// The colors of figures and curves on a canvas, for a dark and for a light screen (LOOK: a published
// color-blind-safe set). Pages take theirs from style sheets; both say the same colors.

/** On near-black. */
export const DARK = {
  ground: "#101418", panel: "#181e24", ink: "#F2F4F5", dim: "#A7B1BA", middle: "#5C6670", edge: "#55616b", sole: "#232b32", grid: "#2b343c", floor: "#252e36", cast: "#0b0f12a0", shade: "#101418", gleam: "#FFFFFF",
  pelvis: "#CC79A7", thorax: "#E69F00", lead_arm: "#56B4E9", club: "#F2F4F5",
};

/** On near-white and on paper. */
export const LIGHT = {
  ground: "#FFFFFF", panel: "#FFFFFF", ink: "#1B2126", dim: "#59646D", middle: "#98A2AA", edge: "#8A949C", sole: "#E6E7E2", grid: "#E3E4DF", floor: "#EFEFEA", cast: "#1B212628", shade: "#14191D", gleam: "#FFFFFF",
  pelvis: "#8F3A6E", thorax: "#8A5A00", lead_arm: "#1B6A96", club: "#1B2126",
};

/** All in one gray, so that what is drawn is a shade behind something else. */
export function shadeOf(colors, share) {
  const gray = mixed(colors.panel, colors.ink, share);
  return { ...Object.fromEntries(Object.keys(colors).map((name) => [name, gray])), panel: colors.panel };
}

const SHADES = 128;
const known = new Map();

/** A color between two of the form `#rrggbb`: 0 the first, 1 the second. Asked for again, it is not worked out again. */
export function mixed(from, to, share) {
  const key = from + to;
  let row = known.get(key);
  if (!row) known.set(key, (row = new Array(SHADES + 1)));
  return (row[Math.round(share * SHADES)] ??= between(from, to, Math.round(share * SHADES) / SHADES));
}

function between(from, to, share) {
  const [a, b] = [from, to].map((c) => [1, 3, 5].map((i) => Number.parseInt(c.slice(i, i + 2), 16)));
  return `#${a.map((v, i) => Math.round(v + (b[i] - v) * share).toString(16).padStart(2, "0")).join("")}`;
}
