// Small controls of the Shelf. Plain elements are made by element.js.

import { el } from "../element.js";

/** A button that says whether it is on. */
export const toggle = (label, on, onclick, rest = {}) => el("button", { type: "button", "aria-pressed": String(on), onclick, ...rest }, label);

/** Choices for a `select`: pairs of value and words. */
export const options = (pairs, chosen = "") => pairs.map(([value, words]) => el("option", { value, selected: String(value) === String(chosen) }, words));
