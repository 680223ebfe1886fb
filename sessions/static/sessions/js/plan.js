/*
 * Tonight's fluid. The same arithmetic, in the same order, as uf_volume_plan and uf_rate of the server's
 * science, so that the phone without a network and the unit see the same last digit. A browser test drives both.
 */

const ML_PER_L = 1000;
const MOST_APART = 0.2;

/** Weights in kg, volumes in L -> {litres} or {why}. */
export function volumeToRemove({ pre, target, rinseBack = 0, drinks = 0 }) {
  if (pre == null) return { why: "Write the weight before." };
  if (target == null) return { why: "There is no target weight in force: ask the unit." };
  if (Math.abs(pre - target) > MOST_APART * target) {
    return { why: "The weight before and the target are more than a fifth apart: weigh again, or ask the unit." };
  }
  const litres = pre - target + rinseBack + drinks;
  if (litres < 0) return { why: "The weight before is under the target: nothing to take off. Ask the unit." };
  return { litres };
}

/** Litres, minutes and the weight after (kg) -> mL/kg/h. */
export function rate({ litres, minutes, weight }) {
  return (litres * ML_PER_L * 60) / (minutes * weight);
}

/** The plan against the prescription -> {why} or {litres, rate, over, limit}. */
export function fluidPlan({ pre, rinseBack, drinks, prescription }) {
  const target = prescription?.target_weight_kg;
  const volume = volumeToRemove({ pre, target, rinseBack, drinks });
  if (volume.why) return volume;
  const perHour = rate({ litres: volume.litres, minutes: prescription.minutes, weight: target });
  const limit = prescription.uf_rate_limit_ml_kg_h;
  return { litres: volume.litres, rate: perHour, limit, over: perHour > limit };
}
