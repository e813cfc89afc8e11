// Making elements from script. Text goes in as text, never as HTML; nothing is inline, as the server's
// policy wants it. Painting parts of a page anew is each page's own business.

/**
 * An element: `el("p.note", { id: "x" }, "text", child)`. Attributes that are null or false are left out.
 * @param {string} spec tag and classes with dots between them; without a tag a div
 */
export function el(spec, attributes = {}, ...children) {
  const [tag, ...classes] = spec.split(".");
  return dressed(document.createElement(tag || "div"), classes, attributes, children);
}

/** The same for a drawing: `svg("line.grid", { x1: 0, … })`. */
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
  made.append(...children.flat(2).filter((c) => c !== null && c !== undefined && c !== false && c !== ""));
  return made;
}

/** Puts `children` into `root` unless it holds what `key` stands for already. */
export function fill(root, key, children) {
  const now = JSON.stringify(key);
  if (root.filled === now) return;
  root.filled = now;
  root.replaceChildren(...children());
}
