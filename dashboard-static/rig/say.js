// How the Rig page says things: states in words and shapes, figures, names of landmarks.

/** Word and shape of a state: never color alone. */
export const STATES = {
  ok: { shape: "●", word: "ok" },
  look: { shape: "▲", word: "look" },
  wrong: { shape: "■", word: "wrong" },
  unknown: { shape: "○", word: "not known" },
};

/** A figure with a true minus, or a dash. */
export function figure(value, decimals = 0, unit = "") {
  if (value === null || value === undefined || Number.isNaN(value)) return "—";
  const text = value.toFixed(decimals);
  const digits = Number(text) === 0 ? text.replace("-", "") : text.replace("-", "−");
  return unit ? `${digits} ${unit}` : digits;
}

/** Bytes as people say them. */
export function bytes(count) {
  if (count >= 1 << 30) return `${figure(count / (1 << 30), 1)} GiB`;
  return count >= 1 << 20 ? `${figure(count / (1 << 20), 1)} MiB` : `${figure(count / 1024)} KiB`;
}

/** `a`, `a and b`, `a, b and 3 more`. */
export function list(names, most = 4) {
  const shown = names.length > most ? [...names.slice(0, most), `${names.length - most} more`] : names;
  if (shown.length < 2) return shown.join("");
  return `${shown.slice(0, -1).join(", ")} and ${shown.at(-1)}`;
}

/** A landmark by its anatomical name: `left_asis` → `left ASIS`. */
export function landmark(name) {
  return name.replaceAll("_", " ").replace(/\b(asis|psis|c7|t8)\b/g, (word) => word.toUpperCase());
}

/** A time that has passed: `12 s`, `4 min`, `3 h`. */
export const ago = (s) => (s < 90 ? `${figure(s)} s` : s < 5400 ? `${figure(s / 60)} min` : `${figure(s / 3600)} h`);

/** One thing or several. */
export const count = (n, one, many = `${one}s`) => `${n} ${n === 1 ? one : many}`;
