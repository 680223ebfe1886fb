/* What is given against clotting: what is prescribed, what was noted tonight, when it is to stop. */

import { later } from "./clock.js";
import { course, minuteOf } from "./course.js";
import { addRow, limitsOf, writeNumber } from "./draft.js";
import { withUnit } from "./numbers.js";
import { coded, say, wordsOf } from "./ready.js";
import { t } from "./words.js";

/** The step that says when it was stopped. */
export const STOPPED = "heparin_off";

/** What is given against clotting, name and unit in codes as the record keeps them. @param {Kit} kit */
export const heparin = (kit) => {
  const { prescription } = kit;
  const low = prescription?.anticoagulant === "low_molecular";
  const kind = (code, label, unit, step, prescribed) => ({
    name: coded(code),
    label,
    unit: coded(unit),
    step,
    prescribed,
  });
  return [
    low
      ? kind("low_molecular", say(kit, "low_molecular"), "units", 100, prescription?.bolus_units)
      : kind("heparin", t("Heparin bolus"), "units", 100, prescription?.bolus_units),
    ...(low ? [] : [kind("heparin_rate", say(kit, "heparin_rate"), "units_h", 50, prescription?.rate_units_h)]),
  ];
};

/**
 * What is asked about a dose: far from the prescribed one, or none is prescribed at all.
 * @param {Kit} kit @param {any} kind @returns {any}
 */
export function doseLimits(kit, kind) {
  const limits = limitsOf(kit, "medicines.amount");
  const unit = wordsOf(kit, kind.unit);
  const { apart } = limits ?? {};
  const doubt = (amount) => {
    if (kind.prescribed == null || !apart) return "";
    if (amount >= kind.prescribed / apart && amount <= kind.prescribed * apart) return "";
    const given = { value: withUnit(amount, unit), prescribed: withUnit(kind.prescribed, unit) };
    return t("{value} is far from what is prescribed: {prescribed}. Is it right?", given);
  };
  return limits && { ...limits, label: kind.label, unit, step: kind.step, doubt };
}

/**
 * Write a medicine given now. asked: the pad has asked about an unusual amount.
 * @param {Ctx} ctx
 * @param {Night} night
 */
export function putMedicine(ctx, night, kind, amount, asked) {
  const { name, unit } = kind;
  const index = addRow(night, "medicines", { name, amount: null, unit, note: "", at: minuteOf(ctx.now()) });
  writeNumber(night, `medicines[${index}].amount`, amount, doseLimits(ctx.kit, kind), asked);
}

/** Whether heparin of either kind is what is prescribed against clotting. @param {Kit} kit */
export const isOnHeparin = ({ prescription }) => !["none", "other"].includes(prescription?.anticoagulant ?? "none");

/** What was noted of a kind tonight, or undefined. @param {Pick<Night, "doc">} night */
export const givenOf = (night, kind) => night.doc.medicines.findLast((row) => row.name === kind.name);

/**
 * Each kind that is prescribed, with the row of what was noted of it tonight, if any.
 * @param {{kit: Kit, night: Pick<Night, "doc">}} ctx
 */
export const heparinTonight = ({ kit, night }) =>
  isOnHeparin(kit)
    ? heparin(kit)
        .filter((kind) => kind.prescribed)
        .map((kind) => ({ kind, given: givenOf(night, kind) }))
    : [];

/**
 * When the running heparin is to stop (ISO) and when it was stopped, each null where that is not known.
 * @param {Ctx} ctx
 */
export function heparinStop(ctx) {
  const ordered = ctx.kit.prescription;
  const before = ordered?.rate_units_h && ordered.stop_minutes_before_end;
  const { endsAt } = course(ctx.night, ctx.kit, ctx.now());
  const due = before && endsAt ? later(endsAt, -before) : null;
  return { due, stopped: ctx.night.doc.steps.findLast((step) => step.key === STOPPED)?.at ?? null };
}
