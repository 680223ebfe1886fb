/*
 * Rounding as the server does. A file of its own: words and numbers both need it, and files must not need each other in
 * a ring.
 */

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
