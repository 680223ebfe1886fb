/* That no treatment is done today: what was said of it on this phone or to the unit, in words. */

import { dayServed } from "./treated.js";
import { plain } from "./vault.js";
import { t } from "./words.js";

export const reasons = () => ({
  ill: t("ill"),
  away: t("away from home"),
  hospital: t("in hospital"),
  other: t("another reason"),
});

/** The day that a treatment of now would serve. @param {Ctx} ctx */
export const today = (ctx) => dayServed(ctx.now().toISOString(), ctx.kit.patient.zone);

/** What was said of today: on this phone, else what the kit knows; null where nothing was. @param {Ctx} ctx */
export function saidToday(ctx) {
  const day = today(ctx);
  const kept = plain("leftout");
  if (kept?.day === day && kept.patient === ctx.kit.patient.id) return kept.gone ? null : kept;
  return (ctx.kit.left_out ?? []).find((each) => each.day === day) ?? null;
}

/** In a sentence. @param {{reason: string}} said */
export const saidWords = ({ reason }) =>
  t("No treatment today: {why}. The unit sees it.", { why: reasons()[reason] ?? reasons().other });
