/* Fields of the document in words: for the conflict, for refusals, for paper. */

import { bloodReturns, dialyserLooks, earlyReasons, needleKinds, planChoices, uses } from "./choices.js";
import { limitsOf } from "./draft.js";
import { inWords } from "./numbers.js";
import { calledHere, wordsOf } from "./ready.js";
import { dayOf, t, timeOf } from "./words.js";

const NAMES = () => ({
  started_at: t("Start"),
  ended_at: t("End"),
  notes: t("Notes"),
  checks: t("Checks"),
  readings: t("Readings"),
  events: t("Events"),
  medicines: t("Medicines"),
  sites: t("Sites"),
  steps: t("Steps of the run sheet"),
  confirmed: t("Confirmed values"),
  used_stock: t("Used stock"),
  plan_choice: t("Plan for the fluid"),
  dialyser_look: t("Look of the dialyser"),
  blood_return: t("Blood in the lines"),
  early_reason: t("Why it ended early"),
  disinfected: t("Machine disinfected"),
  status: t("State"),
  source: t("Source"),
  planned_minutes: t("Planned minutes"),
  prescription_version: t("Prescription, version"),
  checklist_version: t("Checklist, version"),
  run_sheet_version: t("Run sheet, version"),
  paused_at: t("Off since"),
  resumed_at: t("On again"),
  outcome: t("How it ended"),
  called: t("Who was called"),
  use: t("Which needle"),
  at: t("Time"),
  kind: t("What"),
  note: t("Note"),
  name: t("Name"),
  amount: t("Amount"),
  unit: t("Unit"),
  passed: t("All right"),
  value: t("Value"),
});

/** "readings[2].venous_mmhg" -> "Venous pressure (3)". @param {Ctx} ctx @param {string} path */
export function fieldName(ctx, path) {
  const limits = limitsOf(ctx.kit, path);
  const [, list, index, name] = /^(\w+)\[(\d+)\]\.?(\w*)$/.exec(path) ?? [];
  const own = NAMES()[name ?? path] ?? (name ?? path).replaceAll("_", " ");
  const words = limits ? t(limits.label) : own;
  return index === undefined ? words : `${name ? words : (NAMES()[list] ?? list)} (${Number(index) + 1})`;
}

/** Lists whose rows have a screen of their own, and its name. */
const ROW_SCREENS = { readings: "reading", events: "event", medicines: "medicine" };

/**
 * The screen on which a field of the record can be changed, and which row of it: ["event", "2"].
 * @param {string} field @param {Night} night @returns {[string, ...string[]]}
 */
export function placeOfField(field, night) {
  if (night.plan.paper) return ["paper"];
  const [, list, index] = /^(\w+)(?:\[(\d+)\])?/.exec(field) ?? [];
  if (list in ROW_SCREENS) return index === undefined ? ["running"] : [ROW_SCREENS[list], index];
  if (list === "checks") return ["checks"];
  if (list === "sites") return ["needles"];
  return [/^pre_|^planned_|^rinse_back/.test(field) ? "weigh" : "finish"];
}

const codes = () => [
  ...planChoices(),
  ...dialyserLooks(),
  ...uses(),
  ...needleKinds(),
  ...bloodReturns(),
  ...earlyReasons(),
];
const ISO = /^\d{4}-\d\d-\d\dT\d\d:\d\d/;

/** A value of the document as people read it; rows as one line each. @param {Ctx} ctx @param {string} path */
export function shownValue(ctx, path, value) {
  if (value == null || value === "") return t("not known");
  if (typeof value === "number") return inWords(limitsOf(ctx.kit, path), value);
  if (typeof value === "boolean") return value ? t("Yes") : t("No");
  if (Array.isArray(value)) return value.map((each) => shownValue(ctx, path, each)).join("; ");
  if (typeof value === "object") return rowWords(ctx, path, value);
  if (path === "source") return t("Entered from paper");
  if (ISO.test(value)) return `${dayOf(value)} ${timeOf(value)}`;
  return (
    ctx.kit?.event_kinds?.[value] ?? codes().find((code) => code.value === value)?.label ?? wordsOf(ctx.kit, value)
  );
}

/** @param {Ctx} ctx */
function rowWords(ctx, list, row) {
  const own = { checks: "name", steps: "words" }[list];
  const parts = Object.entries(own ? { ...row, [own]: calledHere(ctx.kit, row) } : row).filter(
    ([name, value]) => value !== null && value !== "" && !["key", "at", "id"].includes(name),
  );
  const time = row.at ? `${timeOf(row.at)}: ` : "";
  const said = ([name, value]) => {
    const path = `${list}.${name}`;
    const named = fieldName(ctx, path).replace(`${list}.`, "");
    return `${named} ${shownValue(ctx, path, value)}`;
  };
  return time + parts.map(said).join(", ");
}

/** @param {Iso} iso */
export const whenWords = (iso) => `${dayOf(iso)}, ${timeOf(iso)}`;
