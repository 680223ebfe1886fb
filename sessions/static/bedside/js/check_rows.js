/* Answered checks as the record keeps them, whether touched at the bedside or typed from paper. Pure. */

import { asKept } from "./ready.js";

/**
 * Whether a reading lies within the unit's limits of the check.
 * @param {Pick<CheckItem, "limit_low" | "limit_high">} item @param {number} value
 */
export const inside = ({ limit_low: low, limit_high: high }, value) =>
  (low == null || value >= low) && (high == null || value <= high);

/**
 * The row of a check of the kit with its answer: {passed, value, note, overruled, reason, at}, what is left out empty.
 * @param {CheckItem} item @param {any} answer @returns {Check}
 */
export const checkOf = (item, answer) => ({
  name: asKept(item),
  key: item.key,
  part: item.part,
  value: null,
  unit: item.unit ?? "",
  note: "",
  overruled: false,
  reason: "",
  at: null,
  ...answer,
});

/**
 * The answer that stands for a check: the last of those that were given. @param {Check[]} rows @param {string} key
 */
export const standing = (rows, key) => rows.filter((row) => row.key === key).at(-1);

/**
 * Whether an answer holds the flow: it failed. A reason lifts it, but never where the check is a stop: that one wants
 * to be passed.
 * @param {Check | undefined} row @param {CheckItem} item
 */
export const holds = (row, item) => Boolean(row && !row.passed && (item.stop || !row.overruled));

/** The stops of a kit that stand as failed. @param {Kit} kit @param {Night} night */
export const stopsHeld = (kit, night) =>
  (kit.checklist?.items ?? []).filter((item) => item.stop && holds(standing(night.doc.checks, item.key), item));

/**
 * The rows with one more answer. What was found wrong stays beside what was found later: of a stop, and of whatever was
 * measured. Every other answer takes the place of the one before.
 * @param {Check[]} rows @param {CheckItem} item @param {Check} row
 */
export function withAnswer(rows, item, row) {
  const before = standing(rows, item.key);
  const bothStay = before && (item.stop || item.asks_value) && !(before.passed && row.passed);
  const again = before?.id ? { ...row, id: before.id } : row;
  return !before || bothStay ? [...rows, row] : rows.map((each) => (each === before ? again : each));
}

/** The check after a treatment that says whether the machine was disinfected. @param {CheckItem} item */
export const isDisinfection = (item) => item.part === "after" && item.key === "disinfection";

/** Rows that failed and are followed by a good one of the same check. @param {Check[]} rows */
export const putRight = (rows) =>
  rows.filter(
    (row, index) => !row.passed && rows.some((each, at) => at > index && each.key === row.key && each.passed),
  );
