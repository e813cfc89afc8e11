// The solid of a plate: a slab with rounded corners and edges, as faces in bay axes. Where they fall and how
// they are painted is stick.js's.

import { along, cross, length, scale, sub, unit } from "./vector.js";

const CORNER_STEPS = 3;
// Of half the height, so that a wide plate has the same round corners as a high one.
const CORNER = 0.55;
// Through the thickness, back to front: [depth, how much narrower].
const RINGS = [[-1, 0.88], [-0.5, 1], [0.5, 1], [1, 0.88]];

const made = new WeakMap();

/** Faces of a plate: `name` front, back or edge, `corners` around it, `normal` outward. */
export function slab(plate) {
  // Seen from two sides it is the same solid.
  if (!made.has(plate)) made.set(plate, facesOf(plate));
  return made.get(plate);
}

function facesOf(plate) {
  const rim = rimOf(plate);
  const rings = RINGS.map(([depth, narrow]) => rim.map(([r, u]) => inBay(plate, [r * narrow, u * narrow, depth * plate.half[2]])));
  const faces = [
    { name: "back", corners: rings[0].toReversed(), normal: scale(plate.front, -1) },
    { name: "front", corners: rings.at(-1), normal: plate.front },
  ];
  for (let k = 1; k < rings.length; k++) {
    rim.forEach((_, i) => {
      const next = (i + 1) % rim.length;
      const corners = [rings[k][i], rings[k - 1][i], rings[k - 1][next], rings[k][next]];
      faces.push({ name: "edge", corners, normal: outward(corners) });
    });
  }
  // The front last: its middle line lies over what is beside it.
  return [...faces.slice(2), ...faces.slice(0, 2)];
}

/** The convex outline of points `{x, y}` (Andrew's monotone chain). */
export function hull(spots) {
  const sorted = spots.toSorted((p, q) => p.x - q.x || p.y - q.y);
  const half = (points) => {
    const chain = [];
    for (const p of points) {
      while (chain.length > 1 && turn(chain.at(-2), chain.at(-1), p) <= 0) chain.pop();
      chain.push(p);
    }
    return chain.slice(0, -1);
  };
  return [...half(sorted), ...half(sorted.toReversed())];
}

const turn = (a, b, c) => (b.x - a.x) * (c.y - a.y) - (b.y - a.y) * (c.x - a.x);

// Around the plate as its front is seen: from its upper left on, in metres [right, up].
function rimOf({ half, taper }) {
  const round = CORNER * Math.min(half[0], half[1]);
  const corners = [[-1, 1, Math.PI], [1, 1, Math.PI / 2], [1, -1, 0], [-1, -1, -Math.PI / 2]];
  return corners.flatMap(([r, u, from]) => Array.from({ length: CORNER_STEPS + 1 }, (_, i) => {
    const angle = from - (i / CORNER_STEPS) * (Math.PI / 2);
    const up = u * (half[1] - round) + round * Math.sin(angle);
    const width = taper + (1 - taper) * (0.5 + (0.5 * up) / half[1]);
    return [width * (r * (half[0] - round) + round * Math.cos(angle)), up];
  }));
}

function inBay({ center, right, up, front }, [r, u, f]) {
  return along(along(along(center, r, right), u, up), f, front);
}

function outward([a, b, c]) {
  const normal = cross(sub(b, a), sub(c, a));
  return length(normal) ? unit(normal) : normal;
}
