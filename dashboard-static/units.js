// Which units a person wants to read, kept on this device for every screen. How a value becomes digits
// lives in words.js.

/** Where the choice is kept. */
export const KEY = "whin.units";
const CHOICES = ["metric", "imperial"];
const listeners = new Set();

/** `metric` or `imperial`; metric when nobody chose. */
export function units(storage = localStorage) {
  const kept = storage.getItem(KEY);
  return CHOICES.includes(kept) ? kept : "metric";
}

/** Keeps a choice and tells whoever listens. */
export function chooseUnits(choice, storage = localStorage) {
  if (!CHOICES.includes(choice)) return;
  storage.setItem(KEY, choice);
  for (const listener of listeners) listener(choice);
}

/** Calls back when the choice changes, here or in another window of this device. */
export function onUnits(listener) {
  if (listeners.size === 0) addEventListener("storage", (e) => e.key === KEY && listeners.forEach((l) => l(units())));
  listeners.add(listener);
}
