/* The plan for the fluid in words, the same wherever it has to be in sight. */

import { limitsOf } from "./draft.js";
import { inWords } from "./numbers.js";
import { fmt, hours, t } from "./words.js";

/** A fluid as machines show it: "2.40 L". @param {number} litres */
export const litresWords = (litres) => t("{n} L", { n: fmt(litres, 2) });

/** "2.40 L in 4:00 h", or "" where nothing was worked out. @param {Ctx} ctx */
export function planWords({ night, kit }) {
  const { planned_uf_l: litres, planned_minutes: planned } = night?.doc ?? {};
  const minutes = planned ?? kit?.prescription?.minutes;
  if (litres == null) return "";
  const fluid = litresWords(litres);
  return minutes ? t("{fluid} in {time} h", { fluid, time: hours(minutes) }) : fluid;
}

/** "Planned: 2.40 L in 4:00 h", or "". @param {Ctx} ctx */
export const plannedWords = (ctx) => planWords(ctx) && t("Planned: {plan}", { plan: planWords(ctx) });

/** What is prescribed of a number that is set, "prescribed 36.5 °C", or "". @param {Ctx} ctx @param {string} path */
export function orderedWords({ kit }, path) {
  const limits = limitsOf(kit, path);
  const value = kit.prescription?.[limits?.ordered ?? ""];
  return value == null ? "" : t("prescribed {value}", { value: inWords(limits, value) });
}
