/* Something unusual was measured before the treatment: why it is begun all the same is kept as a check is. Pure. */

import { checkOf, standing } from "./check_rows.js";
import { answerCheck, dropRow } from "./draft.js";
import { coded } from "./ready.js";

export const WEIGHED = "weighed";

/** @type {any} */
const ITEM = { key: WEIGHED, part: "setup", name: coded("weighed_unusual"), unit: "" };
const named = (calls) => calls.join(" ");

/** Whether a reason stands for exactly what is unusual now. @param {Night} night @param {string[]} calls */
export const isReasoned = (night, calls) =>
  Boolean(standing(night.doc.checks, WEIGHED)?.overruled) && night.plan.weighed === named(calls);

/** @param {Night} night @param {string[]} calls @param {string} reason @param {Iso} at */
export function passOver(night, calls, reason, at) {
  answerCheck(night, ITEM, checkOf(ITEM, { passed: false, overruled: true, reason, at }));
  night.plan.weighed = named(calls);
}

/** What was unusual was a slip, and is put right: then nothing was passed over. @param {Night} night */
export function nothingUnusual(night) {
  dropRow(night, "checks", "key", WEIGHED);
  night.plan.weighed = "";
}
