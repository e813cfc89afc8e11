// Light or dark: what the device prefers, or what a person chose on it. Style sheets follow `data-theme`
// of the page's root, canvases follow `colorsNow`.

import { DARK, LIGHT } from "./palette.js";

const KEY = "whin.theme";
const dark = matchMedia("(prefers-color-scheme: dark)");
const listeners = new Set();

const asked = () => ({ light: "light", dark: "dark" })[localStorage.getItem(KEY)] ?? (dark.matches ? "dark" : "light");
// Asked once a change: whoever reads `matches` in each frame takes the news from the browser, which then tells
// nobody of a change.
let now = asked();

/** `light` or `dark`. */
export const theme = () => now;

/** The colors of canvases now. */
export const colorsNow = () => (theme() === "dark" ? DARK : LIGHT);

/** Keeps a choice on this device. */
export function chooseTheme(choice) {
  localStorage.setItem(KEY, choice);
  tell();
}

/** Puts the theme on the page and calls back at each change. */
export function onTheme(listener) {
  listeners.add(listener);
}

function tell() {
  now = asked();
  document.documentElement.dataset.theme = theme();
  for (const listener of listeners) listener();
}

document.documentElement.dataset.theme = theme();
dark.addEventListener("change", tell);
addEventListener("storage", (e) => e.key === KEY && tell());
