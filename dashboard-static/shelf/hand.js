// What a hand does to the figures: it drags, pinches, rolls a wheel or presses keys. It says how far to turn and
// how much nearer to come; where the camera then stands is decided by whoever listens.

const A_KEY = 15;
/** One press of + or of a button comes so much nearer. */
export const A_STEP = 1.25;
const A_WHEEL = 0.0025;
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };

/**
 * Listens to a canvas. `turn(right, up)` in pixels of a drag, `nearer(factor, at)` with the place that stays, in pixels
 * of the canvas, `home()` back to where the camera stood first. A wheel alone rolls the page, and one finger up and
 * down too.
 */
export function handle(canvas, { turn, nearer, home }) {
  const down = new Map();
  const place = (e) => [e.offsetX, e.offsetY];
  canvas.onpointerdown = (e) => {
    canvas.setPointerCapture(e.pointerId);
    down.set(e.pointerId, place(e));
  };
  canvas.onpointermove = (e) => {
    const was = down.get(e.pointerId);
    if (!was) return;
    const now = place(e);
    down.set(e.pointerId, now);
    const other = [...down].find(([id]) => id !== e.pointerId)?.[1];
    if (!other) turn(was[0] - now[0], now[1] - was[1]);
    else nearer(apart(now, other) / Math.max(1, apart(was, other)), [(now[0] + other[0]) / 2, (now[1] + other[1]) / 2]);
  };
  canvas.onpointerup = canvas.onpointercancel = (e) => down.delete(e.pointerId);
  // With Ctrl, as a touchpad says a pinch. It is not passive: the page itself is not to grow.
  canvas.addEventListener("wheel", (e) => {
    if (!e.ctrlKey) return;
    e.preventDefault();
    nearer(Math.exp(-A_WHEEL * e.deltaY), place(e));
  }, { passive: false });
  canvas.onkeydown = (e) => {
    if (e.ctrlKey || e.metaKey || e.altKey) return;
    const arrow = ARROWS[e.key];
    if (arrow) turn(arrow[0] * A_KEY, arrow[1] * A_KEY);
    else if (e.key === "+" || e.key === "=") nearer(A_STEP);
    else if (e.key === "-") nearer(1 / A_STEP);
    else if (e.key === "0" || e.key === "Home") home();
    else return;
    e.preventDefault();
  };
}

const apart = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]);
