/* What went otherwise than planned in a night, told before any number of it. Pure. */

import { bloodReturns, earlyReasons, eventWords } from "./choices.js";
import { figureOf } from "./declared.js";
import { limitsOf } from "./draft.js";
import { DROP, toldOf } from "./flow_state.js";
import { wordsOf } from "./ready.js";
import { t, timeOf } from "./words.js";

/** A reading this near to a noted low pressure is its figure, as at the unit (ms). */
const FIGURE_NEAR = 10 * 60_000;

const labelOf = (choices, value) => choices.find((each) => each.value === value)?.label ?? value;

/**
 * A sentence for each event, then for how it ended.
 * @param {Kit} kit @param {Pick<TreatmentDocument, "events" | "blood_return" | "blood_lost_ml" | "early_reason">} noted
 */
export function wentOtherwise(kit, noted) {
  const path = "blood_lost_ml";
  const lost = limitsOf(kit, path);
  return [
    ...(noted.events ?? []).map((event) =>
      [`${timeOf(event.at)} ${eventWords(kit, event.kind)}`, ...toldOf(kit, event), wordsOf(kit, event.note)]
        .filter(Boolean)
        .join(", "),
    ),
    ["part", "none"].includes(noted.blood_return ?? "") &&
      `${t("Blood in the lines")}: ${labelOf(bloodReturns(), noted.blood_return)}`,
    noted.blood_lost_ml &&
      `${t(lost?.label ?? path)}: ${figureOf(lost, noted.blood_lost_ml)} ${lost?.unit ?? ""}`.trim(),
    noted.early_reason && `${t("Why it ended early")}: ${labelOf(earlyReasons(), noted.early_reason)}`,
  ].filter(Boolean);
}

/**
 * Whether a low pressure was noted that has no figure: then no figure is the lowest of the night.
 * @param {TreatmentDocument} doc
 */
export const dropWithoutFigure = (doc) =>
  doc.events.some(
    (event) =>
      event.kind === DROP &&
      event.systolic == null &&
      !doc.readings.some(
        (row) => row.systolic != null && Math.abs(Date.parse(row.at) - Date.parse(event.at)) <= FIGURE_NEAR,
      ),
  );
