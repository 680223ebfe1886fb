/* A blood pressure asked for in trouble: both numbers, pad after pad. */

import { limitsAt, limitsOf } from "./draft.js";
import { askNumber } from "./pad.js";
import { t } from "./words.js";

/**
 * Both numbers of a row of this list; nobody is asked whether a low one is right -> them and how they are said, null
 * where it was left. @param {Ctx} ctx @param {"events" | "readings"} list
 */
export async function askPressure(ctx, list) {
  const ask = (name, refuse) => {
    const limits = limitsOf(ctx.kit, `${list}.${name}`);
    return askNumber({ label: t(limits?.label ?? name), limits: { ...limits, usual: limits?.hard, refuse } });
  };
  const systolic = await ask("systolic");
  if (typeof systolic !== "number") return null;
  const below = limitsAt(ctx.kit, { systolic }, `${list}.diastolic`)?.refuse;
  const diastolic = (await ask("diastolic", below)) ?? null;
  const unit = limitsOf(ctx.kit, `${list}.systolic`)?.unit ?? "";
  return { systolic, diastolic, said: `${systolic}/${diastolic ?? "–"} ${unit}` };
}
