/* An answered check as the record keeps it, whether touched at the bedside or typed from paper. Pure. */

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
