/* One of the last nights in a line, so that two of one day are told apart. Pure. */

import { figureOf } from "./declared.js";
import { limitsOf } from "./draft.js";
import { unitOf } from "./numbers.js";
import { hours, t, timeOf } from "./words.js";

/**
 * What a night came to, each number with the digits that it has everywhere.
 * @param {Kit} kit @param {PastNight} night
 */
export function nightWords(kit, night) {
  const weight = limitsOf(kit, "post_weight_kg");
  return [
    night.started_at && timeOf(night.started_at),
    night.minutes && `${hours(night.minutes)} h`,
    night.post_weight_kg != null && `${figureOf(weight, night.post_weight_kg)} ${unitOf(weight)}`,
    night.uf_volume != null && `UF ${figureOf(kit.computed.uf_volume, night.uf_volume)} L`,
    night.source === "paper" && t("From paper"),
  ].filter(Boolean);
}
