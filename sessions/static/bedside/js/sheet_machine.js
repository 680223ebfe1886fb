/* What is set on the machine and given against clotting, as the run sheet asks for it, beside what is ordered. */

import { limitsOf, shortOf, takeNumber, writeNumber } from "./draft.js";
import { doseLimits, givenOf, heparin, putMedicine } from "./heparin.js";
import { inWords, withUnit } from "./numbers.js";
import { askNumber } from "./pad.js";
import { litresWords, orderedWords, plannedWords } from "./plan_words.js";
import { coded, wordsOf } from "./ready.js";
import { forward } from "./sheet_moves.js";
import { figureRow } from "./sheet_parts.js";
import { bigButton, dl, note } from "./ui.js";
import { hours, t, timeOf } from "./words.js";

/** @param {Ctx} ctx */
export const bolusOf = (ctx) => heparin(ctx.kit)[0];

/** @param {Ctx} ctx */
function giveBolus(ctx, amount, asked) {
  const kind = bolusOf(ctx);
  const words = withUnit(amount, wordsOf(ctx.kit, kind.unit));
  forward(ctx, words, (night) => putMedicine(ctx, night, kind, amount, asked));
}

/** @param {Ctx} ctx */
export function bolusAsked(ctx) {
  const kind = bolusOf(ctx);
  const given = givenOf(ctx.night, kind);
  const other = async () => {
    const amount = await askNumber({ label: kind.label, limits: doseLimits(ctx.kit, kind) });
    if (typeof amount === "number") giveBolus(ctx, amount, true);
  };
  return [
    figureRow(t("Prescribed"), withUnit(kind.prescribed ?? 0, wordsOf(ctx.kit, kind.unit))),
    given && note(t("Noted as given at {time}.", { time: timeOf(given.at) }), "good"),
    !given && bigButton(t("Another amount"), other, { data: { k: "bolus-other" } }),
    !given && bigButton(t("Not given"), () => forward(ctx, coded("not_given")), { data: { k: "bolus-none" } }),
  ];
}

/** What is ordered of the dialysate, as it is set. */
const ON_THE_MACHINE = ["qd_ml_min", "dialysate_temperature_c"];

/** @param {Ctx} ctx @param {string} name */
function orderedLine(ctx, name) {
  const value = ctx.kit.prescription?.[name];
  const path = `readings.${name}`;
  return value == null ? null : [shortOf(ctx.kit, path), withUnit(value, limitsOf(ctx.kit, path)?.unit)];
}

const TEMPERATURE = "set_temperature_c";

/** The temperature of the dialysate where another one is set than prescribed, or none is. @param {Ctx} ctx */
async function askTemperature(ctx) {
  const limits = limitsOf(ctx.kit, TEMPERATURE);
  const label = t(limits?.label ?? TEMPERATURE);
  const value = await askNumber({
    label,
    limits,
    value: ctx.night.doc[TEMPERATURE],
    aside: orderedWords(ctx, TEMPERATURE),
  });
  if (value === undefined) return;
  const words = t("{label}: {value}", { label, value: value === null ? "–" : inWords(limits, value) });
  ctx.change(words, (night) => takeNumber(night, TEMPERATURE, value, limits));
}

/** What is set, where that was noted. @param {Ctx} ctx */
function temperatureSet(ctx) {
  const limits = limitsOf(ctx.kit, TEMPERATURE);
  const set = ctx.night.doc[TEMPERATURE];
  return set == null ? null : [shortOf(ctx.kit, TEMPERATURE), inWords(limits, set)];
}

/** What has to stand on the machine: the plan, how long, dialysate, heparin. @param {Ctx} ctx */
export function machineAsked(ctx) {
  const { planned_uf_l: litres, planned_minutes: planned } = ctx.night.doc;
  const minutes = planned ?? ctx.kit.prescription?.minutes;
  const rate = rateOf(ctx);
  return [
    litres == null &&
      note(t("No fluid to take off was worked out for tonight. Ask the unit, or go back and weigh."), "stop"),
    litres != null && figureRow(t("Fluid to take off"), litresWords(litres)),
    dl([
      minutes && [t("Length"), `${hours(minutes)} h`],
      ...ON_THE_MACHINE.map((name) => orderedLine(ctx, name)),
      temperatureSet(ctx),
      rate && [rate.label, withUnit(rate.prescribed, wordsOf(ctx.kit, rate.unit))],
      rate &&
        ctx.kit.prescription?.stop_minutes_before_end != null && [
          t("Heparin off"),
          t("{n} min before the end", { n: ctx.kit.prescription.stop_minutes_before_end }),
        ],
    ]),
    litres != null && bigButton(t("Another amount of fluid is set"), () => askSet(ctx), { data: { k: "set-other" } }),
    limitsOf(ctx.kit, TEMPERATURE) &&
      bigButton(t("Another dialysate temperature is set"), () => askTemperature(ctx), {
        data: { k: "set-temperature" },
      }),
    bigButton(t("Go on without noting it"), () => forward(ctx, coded("no_answer")), { data: { k: "set-none" } }),
  ];
}

/** @param {Ctx} ctx */
const rateOf = (ctx) => heparin(ctx.kit).find((kind) => kind.unit === coded("units_h") && kind.prescribed);

/** @param {Ctx} ctx */
async function askSet(ctx) {
  const litres = await askNumber({
    label: t("Fluid removal set on the machine"),
    limits: limitsOf(ctx.kit, "set_uf_l"),
    aside: plannedWords(ctx),
  });
  if (typeof litres === "number") machineSet(ctx, litres, true);
}

/** @param {Ctx} ctx */
function machineSet(ctx, litres, asked = false) {
  const ordered = rateOf(ctx);
  const rate = ordered && !givenOf(ctx.night, ordered) ? ordered : null;
  const warmth = ctx.night.doc[TEMPERATURE];
  const said = [
    withUnit(litres, "L"),
    warmth != null && inWords(limitsOf(ctx.kit, TEMPERATURE), warmth),
    rate && withUnit(rate.prescribed, wordsOf(ctx.kit, rate.unit)),
  ];
  forward(ctx, coded("set_to", { what: said.filter(Boolean).join(", ") }), (night) => {
    writeNumber(night, "set_uf_l", litres, limitsOf(ctx.kit, "set_uf_l"), asked);
    if (rate) putMedicine(ctx, night, rate, rate.prescribed, false);
  });
}

/** @param {Ctx} ctx */
export function bolusMain(ctx) {
  const kind = bolusOf(ctx);
  const amount = withUnit(kind.prescribed, wordsOf(ctx.kit, kind.unit));
  return {
    label: t("Given: {value}", { value: amount }),
    tap: () => giveBolus(ctx, kind.prescribed, false),
    tone: "go",
  };
}

/** @param {Ctx} ctx */
export function machineMain(ctx) {
  const { planned_uf_l: litres } = ctx.night.doc;
  if (litres == null) return { label: t("Enter what is set"), tap: () => askSet(ctx), tone: "go" };
  const label = t("Set on the machine: {value}", { value: litresWords(litres) });
  return { label, tap: () => machineSet(ctx, litres), tone: "go" };
}
