/* Numbers as people type and read them. Limits come from sessions/plausible.py by way of the kit. */

import { shown } from "./rounding.js";
import { fmt, t } from "./words.js";

/** Text -> {number}, {} when empty, {wrong} when it is no number. A comma is a decimal point here. */
export function parseNumber(text) {
  const trimmed = text.trim().replace("−", "-");
  if (trimmed === "") return {};
  const plain = trimmed.replace(",", ".");
  return /^[+-]?(\d+\.?\d*|\.\d+)$/.test(plain) ? { number: Number(plain) } : { wrong: trimmed };
}

/*
 * What is kept is canonical; `told` of its limits is the unit that the reader chose: a value is told
 * as factor · kept + offset.
 */

/** @param {Partial<Limits> | undefined | null} limits */
export const unitOf = (limits) => limits?.told?.unit ?? limits?.unit ?? "";

/** A kept value as it is told; a tenth where it was converted. @param {Partial<Limits> | undefined | null} limits */
export const toldOf = (limits, number) =>
  limits?.told && number != null ? Number(shown(number * limits.told.factor + limits.told.offset, 1)) : number;

/** A typed value as it is kept: to the gram, so that it is told again as it was typed. @param {Limits} limits */
export const keptOf = ({ told }, number) =>
  told ? Number(shown((number - told.offset) / told.factor, KEPT_PLACES)) : number;
const KEPT_PLACES = 3;

/** A kept value with its unit, as people read it. @param {Partial<Limits> | undefined | null} limits */
export const inWords = (limits, number) => withUnit(toldOf(limits, number), unitOf(limits));

/** @param {Limits} limits @param {[number, number]} ends @returns {[number, number]} */
const endsOf = (limits, [low, high]) => [toldOf(limits, low), toldOf(limits, high)];

const span = ([low, high], unit) => ({ low: fmt(low), high: fmt(high), unit: unit ? ` ${unit}` : "" });

/** Why a number is refused, or "". In English the same words as Range.refusal on the server. @param {Limits} limits */
export function refusal(limits, number) {
  const why = limits.refuse?.(number);
  if (why) return why;
  const [low, high] = limits.hard;
  if (number >= low && number <= high) return "";
  const ends = span(endsOf(limits, limits.hard), unitOf(limits));
  const given = { label: t(limits.label), given: fmt(toldOf(limits, number)), ...ends };
  return t("{label} must be between {low} and {high}{unit}; {given} was given.", given);
}

/** The question to ask once more about a possible but unusual number, or "". @param {Limits} limits */
export function oddity(limits, number) {
  const why = limits.doubt?.(number);
  if (why) return why;
  const [low, high] = limits.usual;
  if ((number >= low && number <= high) || (limits.zero && number === 0)) return "";
  const ends = span(endsOf(limits, limits.usual), unitOf(limits));
  const given = { value: inWords(limits, number), label: t(limits.label).toLowerCase(), ...ends };
  return t("{value} is unusual ({label} is usually {low} to {high}{unit}). Is it right?", given);
}

const THOUSAND = 1000;
/** Under so many mL nobody types millilitres: litres were meant (common practice, no source). */
const LEAST_ML = 5;

/**
 * The number that was meant where the other of litres and millilitres was typed, or null.
 * @param {Limits} limits @param {number} number
 */
export function meant({ unit, hard, usual }, number) {
  const other = unit === "L" ? number / THOUSAND : unit === "mL" && number < LEAST_ML ? number * THOUSAND : null;
  const slipped = unit === "mL" ? number > 0 : number > hard[1];
  return slipped && other !== null && other >= usual[0] && other <= usual[1] ? other : null;
}

export const withUnit = (number, unit) => (unit ? `${fmt(number)} ${unit}` : fmt(number));

/** Decimals that a step of the entry shows: 0.05 -> 2. */
export const decimalsOf = (step = 1) => (String(step).split(".")[1] ?? "").length;

/** One step up or down, on the grid of the step, without the dust of binary fractions. */
export function stepped(number, step, count) {
  return Number(shown((Math.round(number / step + 1e-9) + count) * step, decimalsOf(step)));
}

export { shown };
