/* What keeps a treatment from beginning, in red and with a call: stops among the checks, water, no prescription. */

import { standing, stopsHeld } from "./check_rows.js";
import { withUnit } from "./numbers.js";
import { h, note } from "./ui.js";
import { dayOf, t } from "./words.js";

/** Each stop that stands as failed, with what it showed and what to do. @param {Ctx} ctx */
export const stopNotes = (ctx) =>
  stopsHeld(ctx.kit, ctx.night).map((item) => {
    const { value, unit } = /** @type {Check} */ (standing(ctx.night.doc.checks, item.key));
    const shown = value == null ? "" : ` ${t("Reading: {value}.", { value: withUnit(value, unit) })}`;
    const words = item.if_failed || t("Do not go on. Call the unit and say what you found.");
    return note(t("{check} is not good.", { check: item.name }) + shown, "stop", h("p", { text: words }));
  });

/** Water that the unit holds back: over its limit, or not released by anybody since. @param {Ctx} ctx */
const waterNotes = (ctx) =>
  (ctx.kit.water ?? []).map(({ label, value, unit, place, at, limit, again }) => {
    const over = t("The unit knows of water over the limit: {test} {value}, {place}, {day} ({limit}).", {
      test: label,
      value: withUnit(value, unit),
      place,
      day: dayOf(at),
      limit,
    });
    const since =
      again &&
      t("Sampled again on {day}: {value}. Nobody of the unit has released the water since.", {
        value: withUnit(again.value, unit),
        day: dayOf(again.at),
      });
    return note(over, "stop", since && h("p", { text: since }), h("p", { text: t("Ask the unit before you begin.") }));
  });

const noPrescription = () =>
  note(
    t("No prescription is in force. Ask the unit before you begin."),
    "stop",
    h("p", {
      text: t("Without one nothing says how long, how fast and down to which weight this treatment is meant."),
    }),
  );

/** Why the unit is asked before a treatment begins; [] where nothing speaks against it. @param {Ctx} ctx */
export function whyAsk(ctx) {
  return [...waterNotes(ctx), ...(ctx.kit.prescription ? [] : [noPrescription()])];
}
