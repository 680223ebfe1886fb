/*
 * The second look at a paper sheet: what a number, or the length, is held against beside its own usual range: the rest
 * of its line, the lines before, the weights, the target weight and the prescription. On the phone the pad asks it of
 * the hand; here it stands beside the cell. Pure.
 */

import { limitsOf, notUnder, limitsAt as rowLimits } from "./draft.js";
import * as fluid from "./fluid.js";
import { doseLimits, heparin } from "./heparin.js";
import { keptOf, parseNumber, withUnit } from "./numbers.js";
import { fmt, hours, t } from "./words.js";

/** Under this share of the prescribed minutes a treatment is short, as where it is looked over. */
const SHORT = 0.9;
/** Of binary fractions. */
const DUST = 1e-9;

/** A cell's text as the number that is kept; undefined where it is none. @param {Kit} kit @param {string} path */
function numberOf(kit, path, text) {
  const number = typeof text === "string" ? parseNumber(text).number : undefined;
  return number === undefined ? undefined : keptOf(limitsOf(kit, path) ?? {}, number);
}

/**
 * A line of a list, or the whole sheet, with each text that is a number as a number.
 * @param {Kit} kit @param {any} typed @param {string} [list]
 */
const numbersOf = (kit, typed, list) =>
  Object.fromEntries(
    Object.entries(typed ?? {})
      .map(([name, text]) => [name, numberOf(kit, list ? `${list}.${name}` : name, text)])
      .filter(([, number]) => number !== undefined),
  );

/** Whether two volumes are as far apart as weights and machine never are by scales alone. */
const apart = (one, other) => Math.abs(one - other) > fluid.WEIGHT_OFF - DUST;

/** What was taken off, against the two weights. @param {Kit} kit @returns {(litres: number) => string} */
function againstWeights(kit, unit, typed) {
  const events = (typed.events ?? []).map((row) => numbersOf(kit, row, "events"));
  const weighed = fluid.weighedOff({ ...numbersOf(kit, typed), events });
  return (litres) =>
    weighed !== null && apart(litres, weighed)
      ? t("{value} taken off, but the weights make {other}. Is it right?", {
          value: withUnit(litres, unit),
          other: `${fmt(weighed, 1)} ${unit}`,
        })
      : "";
}

/**
 * What was planned or set, against the weight before and the target weight.
 * @param {Kit} kit @returns {(litres: number) => string}
 */
function againstTarget(kit, unit, typed) {
  const { pre_weight_kg: pre, rinse_back_l: rinse = 0, intake_l: drinks = 0 } = numbersOf(kit, typed);
  const target = kit.prescription?.target_weight_kg;
  const { litres: makes } = fluid.volume({ pre, target, rinse, drinks });
  return (litres) =>
    makes !== undefined && apart(litres, makes)
      ? t("{value}, but the weight before and the target weight make {other}. Is it right?", {
          value: withUnit(litres, unit),
          other: `${fmt(makes, 1)} ${unit}`,
        })
      : "";
}

/** @type {Record<string, (kit: Kit, unit: string, typed: any) => (litres: number) => string>} */
const AGAINST = {
  uf_removed_l: againstWeights,
  planned_uf_l: againstTarget,
  set_uf_l: againstTarget,
};

/** The last number of a column that stands in a line above. @param {Kit} kit */
const above = (kit, list, rows, name) =>
  rows.map((row) => numbersOf(kit, row, list)).findLast((row) => row[name] !== undefined)?.[name];

/** A dose is held against the prescribed one. @param {Kit} kit */
function doseAt(kit, row) {
  const kind = row.fixed && heparin(kit).find((each) => each.name === row.name);
  return kind ? doseLimits(kit, kind) : limitsOf(kit, "medicines.amount");
}

/**
 * The limits of a cell with whatever it is held against; a check's own are the unit's.
 * @param {Kit} kit @param {any} typed the sheet as it was typed @param {string} path @returns {Limits}
 */
export function cellLimits(kit, typed, path) {
  const [, list, at, name] = /^(\w+)\[(\d+)\]\.(\w+)$/.exec(path) ?? [];
  if (path.startsWith("checks.")) {
    const limits = /** @type {Limits} */ (limitsOf(kit, path.replace(/^checks\.\w+/, "checks")));
    return { ...limits, usual: limits.hard };
  }
  if (list === "medicines") return doseAt(kit, typed.medicines[at]);
  const row = list ? numbersOf(kit, typed[list]?.[at], list) : numbersOf(kit, typed);
  const limits = /** @type {Limits} */ (rowLimits(kit, row, path));
  if (list) return notUnder(limits, above(kit, list, (typed[list] ?? []).slice(0, Number(at)), name));
  return AGAINST[path] ? { ...limits, doubt: AGAINST[path](kit, limits.unit, typed) } : limits;
}

/** What is asked of a length that is not the prescribed one, or "". @param {Kit} kit @param {number} minutes */
export function lengthDoubt(kit, minutes) {
  const planned = kit.prescription?.minutes;
  const most = kit.prescription?.max_minutes;
  if (!planned || (minutes >= SHORT * planned && minutes <= Math.max(planned, most ?? planned))) return "";
  return t("{time} h long, {planned} h are prescribed. Is it right?", {
    time: hours(minutes),
    planned: hours(planned),
  });
}
