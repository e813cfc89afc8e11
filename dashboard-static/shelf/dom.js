// Making elements. Texts go in as texts.

/** An element: `el("button.big", { onclick, "aria-label": "…" }, "text", child)`. */
export function el(spec, attributes = {}, ...children) {
  const [tag, ...classes] = spec.split(".");
  return dressed(document.createElement(tag || "div"), classes, attributes, children);
}

/** The same for drawings. */
export function svg(spec, attributes = {}, ...children) {
  const [tag, ...classes] = spec.split(".");
  return dressed(document.createElementNS("http://www.w3.org/2000/svg", tag), classes, attributes, children);
}

function dressed(made, classes, attributes, children) {
  if (classes.length) made.setAttribute("class", classes.join(" "));
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) made[name] = value;
    else made.setAttribute(name, value === true ? "" : value);
  }
  made.append(...children.flat(3).filter((c) => c !== null && c !== undefined && c !== false && c !== ""));
  return made;
}

/** A button that says whether it is on. */
export const toggle = (label, on, onclick, rest = {}) => el("button", { type: "button", "aria-pressed": String(on), onclick, ...rest }, label);

/** Choices for a `select`: pairs of value and words. */
export const options = (pairs, chosen = "") => pairs.map(([value, words]) => el("option", { value, selected: String(value) === String(chosen) }, words));
