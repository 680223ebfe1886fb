/* Numbers as people type and read them. Limits come from sessions/plausible.py by way of the page. */

/** Text of a field -> {number}, {} when empty, {wrong} when it is no number. A comma is a decimal point here. */
export function parseNumber(text) {
  const trimmed = text.trim().replace("−", "-");
  if (trimmed === "") return {};
  const plain = trimmed.replace(",", ".");
  return /^[+-]?(\d+\.?\d*|\.\d+)$/.test(plain) ? { number: Number(plain) } : { wrong: trimmed };
}

/** Why a number is refused, or "". Same words as Range.refusal on the server. */
export function refusal(limits, number) {
  const [low, high] = limits.hard;
  if (number >= low && number <= high) return "";
  const unit = limits.unit ? ` ${limits.unit}` : "";
  return `${limits.label} must be between ${low} and ${high}${unit}; ${number} was given.`;
}

/** The question to ask once more about a possible but unusual number, or "". */
export function oddity(limits, number) {
  const [low, high] = limits.usual;
  if (number >= low && number <= high) return "";
  return `${withUnit(number, limits.unit)} is unusual (${limits.label.toLowerCase()} is usually ${low} to ${high}). Is it right?`;
}

export function withUnit(number, unit) {
  return unit ? `${number} ${unit}` : String(number);
}

/**
 * A number with a fixed count of decimals, halves away from zero on its shortest decimal form. That is how
 * the server's pages round (floatformat); Number.toFixed rounds the binary value and differs at 1.005.
 */
export function shown(number, digits) {
  const [mantissa, exponent = "0"] = String(Math.abs(number)).split("e");
  const [whole, fraction = ""] = mantissa.split(".");
  const point = whole.length + Number(exponent);
  const all = (whole + fraction).padStart(whole.length + fraction.length + Math.max(0, 1 - point), "0");
  const keep = Math.max(point, 1) + digits;
  const text = all.padEnd(keep + 1, "0");
  const rounded = BigInt(text.slice(0, keep)) + (text[keep] >= "5" ? 1n : 0n);
  const figures = rounded.toString().padStart(digits + 1, "0");
  const cut = figures.length - digits;
  const result = digits ? `${figures.slice(0, cut)}.${figures.slice(cut)}` : figures;
  return number < 0 && rounded !== 0n ? `-${result}` : result;
}
