// Making elements, and painting a part of the page anew without taking it from under a finger: nothing
// is repainted while a pointer is down, somebody types in it, or something in it says that it is busy.

/**
 * An element: `el("button.big", { onclick, "aria-label": "…" }, "text", child)`. Text goes in as text.
 */
export function el(spec, attributes = {}, ...children) {
  const [tag, ...classes] = spec.split(".");
  const made = document.createElement(tag || "div");
  if (classes.length) made.className = classes.join(" ");
  for (const [name, value] of Object.entries(attributes)) set(made, name, value);
  made.append(...children.flat(2).filter((c) => c !== null && c !== undefined && c !== false && c !== ""));
  return made;
}

function set(node, name, value) {
  if (value === null || value === undefined || value === false) return;
  if (name.startsWith("on")) node[name] = value;
  else if (name === "left") node.style.left = `${value}%`;
  else if (name === "width") node.style.width = `${value}%`;
  else node.setAttribute(name, value === true ? "" : value);
}

/** A button with a key, so that keyboard focus comes back to it after a repaint. */
export function button(key, label, onclick, { kind = "", ...rest } = {}) {
  const classes = kind ? `.${kind.split(" ").join(".")}` : "";
  return el(`button${classes}`, { type: "button", "data-k": key, onclick, ...rest }, label);
}

/** A row of buttons of which one (or none) is chosen; tapping the chosen one chooses none. */
export function choice(key, label, options, chosen, choose) {
  const one = ([value, words]) => button(`${key}:${value}`, words, () => choose(value === chosen ? null : value), { "aria-pressed": String(value === chosen) });
  return el(".choice", { role: "group", "aria-label": label }, options.map(one));
}

// The field from which a form was sent is done with, until something is typed again.
let sent = null;
addEventListener("submit", () => { sent = document.activeElement?.dataset.k ?? null; }, true);
addEventListener("input", () => { sent = null; }, true);

let pointers = 0;
const waiting = new Map();
addEventListener("pointerdown", () => { pointers += 1; }, true);
for (const end of ["pointerup", "pointercancel"]) {
  // The click comes after this: paint behind it.
  addEventListener(end, () => setTimeout(() => { pointers = 0; flush(); }, 30), true);
}
addEventListener("focusout", () => setTimeout(flush, 30));

/** Paints `root` anew with what `make` gives, now or as soon as nobody has a finger in it. */
export function paint(root, make) {
  waiting.set(root, make);
  flush();
}

/** Paints what waited. */
export function flush() {
  if (pointers > 0) return;
  for (const [root, make] of waiting) {
    if (typing(root) || root.querySelector("[data-busy]")) continue;
    waiting.delete(root);
    repaint(root, make);
  }
}

function typing(root) {
  const active = document.activeElement;
  return root.contains(active) && active.matches("input, textarea, select") && !active.hasAttribute("data-live") && active.dataset.k !== sent;
}

function repaint(root, make) {
  const active = root.contains(document.activeElement) ? document.activeElement : null;
  const key = active?.dataset.k;
  const caret = active?.matches("input") ? active.selectionStart : null;
  root.replaceChildren(...[make()].flat(2).filter(Boolean));
  if (!active) return;
  const again = (key && root.querySelector(`[data-k="${CSS.escape(key)}"]`)) || root;
  // What had the keyboard is gone: the next Tab goes on from here.
  if (again === root) root.tabIndex = -1;
  again.focus({ preventScroll: true });
  // A new shot pushes the others down: who works with keys still sees where they are.
  if (again !== root && again.matches(":focus-visible")) again.scrollIntoView({ block: "nearest" });
  if (again !== root && caret !== null && again.type !== "number") again.setSelectionRange?.(caret, caret);
}
