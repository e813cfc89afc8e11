// Numbers as people type them: with a point or a comma, with either minus. A browser's own number field drops a
// comma without a word and makes 36,5 s into 365, so fields for numbers are text fields that are read here.

/** What is typed as a number: `null` where there is nothing, `NaN` where it is none. */
export function typed(text) {
  const said = text.trim().replace(",", ".").replace("−", "-");
  if (said === "") return null;
  return /^[-+]?(\d+\.?\d*|\.\d+)$/.test(said) ? Number(said) : Number.NaN;
}

/** What is wrong with a number that was typed in a field of this name, in words; `null` where nothing is. */
export function faultOf(name, value, text, least = -Infinity, most = Infinity) {
  if (value === null) return null;
  if (Number.isNaN(value)) return `${name}: “${text.trim()}” is no number`;
  if (value >= least && value <= most) return null;
  if (most === Infinity) return `${name}: ${text.trim()} is below ${least}`;
  return `${name}: ${text.trim()} is not between ${least} and ${most}`;
}

/**
 * The number in a field, `null` without a good one, and what is wrong with it in words. What is allowed stands in its
 * `data-least` and `data-most`, its name is its label's; a wrong one is marked for eyes and screen readers.
 */
export function readNumber(input) {
  const bound = (text, none) => (text === undefined ? none : Number(text));
  const { least, most } = input.dataset;
  const value = typed(input.value);
  const name = (input.labels[0]?.querySelector("span") ?? input.labels[0]?.firstChild)?.textContent.trim() ?? input.name;
  const fault = faultOf(name, value, input.value, bound(least, -Infinity), bound(most, Infinity));
  if (fault) input.setAttribute("aria-invalid", "true");
  else input.removeAttribute("aria-invalid");
  return { value: fault ? null : value, fault };
}
