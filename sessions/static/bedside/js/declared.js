/* Numbers of a treatment under the names, units and digits that the unit declares for them. Pure. */

import { askedAt, limitsOf } from "./draft.js";
import { toldOf, unitOf } from "./numbers.js";
import { shown } from "./rounding.js";
import { fmt, t } from "./words.js";

/**
 * A number with its digits; `decimals` under zero says "at most so many".
 * @param {Pick<Limits, "decimals" | "told"> | undefined} limits
 */
export function figureOf(limits, kept) {
  const decimals = limits?.decimals;
  const number = toldOf(limits, kept);
  if (number == null || decimals == null) return fmt(number);
  return decimals < 0 ? fmt(Number(shown(number, -decimals))) : fmt(number, decimals);
}

/** A weight or a difference of two [kg], as the parts of a sentence. @param {Kit} kit */
export function weightParts(kit, kg) {
  const weight = limitsOf(kit, "pre_weight_kg");
  return { kg: fmt(toldOf(weight, kg), 1), unit: unitOf(weight) };
}

/**
 * [name, words, unit] of a number, with the one that is written under it as in 120/80; words are null where neither
 * is known. values: a treatment document, or a night of the history.
 * @param {Kit} kit @param {Record<string, any>} values @param {string} path
 */
function declaredRow(kit, values, path) {
  const limits = limitsOf(kit, path);
  const pair = limits?.pair;
  const parts = pair ? [path, pair] : [path];
  const words = parts.map((each) => figureOf(limitsOf(kit, each), values[each])).join(" / ");
  const known = parts.some((each) => values[each] != null);
  return [t(limits?.together ?? limits?.label ?? path), known ? words : null, unitOf(limits)];
}

/**
 * A row for each number that these screens ask for and that is known; those of `always` also where it is not. Those
 * of `elsewhere` are left out: they are shown elsewhere.
 * @param {Kit} kit @param {Record<string, any>} values @param {string[]} places
 * @param {{always?: string[], elsewhere?: string[]}} [which]
 */
export function declaredRows(kit, values, places, { always = [], elsewhere = [] } = {}) {
  const paths = places.flatMap((place) => askedAt(kit, place));
  const below = new Set(paths.map((path) => limitsOf(kit, path)?.pair));
  return paths
    .filter((path) => !below.has(path) && !elsewhere.includes(path))
    .filter((path) => always.includes(path) || declaredRow(kit, values, path)[1] !== null)
    .map((path) => declaredRow(kit, values, path));
}
