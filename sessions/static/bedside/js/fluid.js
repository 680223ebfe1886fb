/*
 * Tonight's fluid. The rate is that of the server's science, in the same order of operations, so that a phone without a
 * network and the unit see the same last digit. Tests work out a thousand evenings beside it.
 */

import { minutesBetween } from "./clock.js";
import { lastValues } from "./course.js";

const SLACK = 1e-9;
const MOST_APART = 0.2;
const between = (number, low, high) => number >= low && number <= high;
const farFrom = (weight, reference) => Math.abs(weight - reference) > MOST_APART * reference;

/** Whether a UF rate lies over its limit. As it reads, with one decimal: what reads as the limit is not over it. */
export const overLimit = (rate, limit) => rate != null && limit != null && Math.round(rate * 10) / 10 > limit + SLACK;

/** Litres, minutes and the weight after (kg) -> mL/kg/h. */
export const rate = (litres, minutes, weight) => (litres * 1000 * 60) / (minutes * weight);

/** Weights in kg, volumes in L -> {litres} or {why: "no_weight" | "no_target" | "apart" | "under" | "odd"}. */
export function volume({ pre, target, rinse = 0, drinks = 0 }) {
  if (pre == null) return { why: "no_weight" };
  if (target == null) return { why: "no_target" };
  const possible = between(pre, 20, 300) && between(target, 20, 300) && between(rinse, 0, 2) && between(drinks, 0, 5);
  if (!possible) return { why: "odd" };
  if (farFrom(pre, target)) return { why: "apart" };
  const litres = pre - target + rinse + drinks;
  return litres < 0 ? { why: "under" } : { litres };
}

const choice = (kind, minutes, litres, left, target) => ({
  kind,
  minutes,
  litres,
  left,
  rate: rate(litres, minutes, target),
});

/** Take off what the limit allows in a time, in tenths of a litre rounded down, and leave the rest. */
function less(kind, minutes, litres, target, limit) {
  const most = (limit * target * minutes) / (60 * 1000);
  const part = litres <= most + SLACK ? litres : Math.floor(most * 10 + SLACK) / 10;
  return choice(kind, minutes, part, litres - part, target);
}

/**
 * The plan -> {why} or {litres, rate, over, atMostOver, choices: [{kind, minutes, litres, left, rate}]}: where the
 * whole volume passes the limit in the prescribed minutes, the choices that stay inside the prescription.
 */
export function plan({ pre, target, rinse, drinks, minutes, longest, limit }) {
  const whole = volume({ pre, target, rinse, drinks });
  const { litres } = whole;
  if (litres === undefined) return whole;
  if (litres > 10 || !between(minutes, 30, 900)) return { why: "odd" };
  const perHour = rate(litres, minutes, target);
  if (perHour <= limit + SLACK) {
    return {
      litres,
      rate: perHour,
      over: false,
      atMostOver: false,
      choices: [choice("as_prescribed", minutes, litres, 0, target)],
    };
  }
  const needed = (litres * 1000 * 60) / (limit * target);
  const atMostOver = needed > longest + SLACK;
  const choices = [less("leave_some", minutes, litres, target, limit)];
  if (!atMostOver) {
    const steps = Math.min(Math.ceil(needed / 5 - SLACK) * 5, longest);
    choices.unshift(choice("longer", Math.max(steps, minutes), litres, 0, target));
  } else if (longest > minutes) choices.unshift(less("longer_and_leave", longest, litres, target, limit));
  return { litres, rate: perHour, over: true, atMostOver, choices };
}

/** Gained since last time -> {kg, percent of the target}, null where a weight is missing or cannot belong. */
export function gain({ pre, last, target }) {
  if (pre == null || last == null || target == null) return null;
  if (farFrom(pre, last) || farFrom(pre, target) || farFrom(last, target)) return null;
  return { kg: pre - last, percent: (100 * (pre - last)) / target };
}

/** What the weight after should be: before - UF + rinse-back + drinks + saline [kg]. */
export const expectedAfter = ({ pre, litres, rinse = 0, drinks = 0, saline = 0 }) =>
  pre - litres + rinse + drinks + saline;

/** Share of the treatment from which the last reading stands for the whole volume, as at the unit. */
const ENOUGH_READ = 0.9;
/** [L] beyond which no way is believed, as at the unit. */
const MOST_OFF = 10;
const given = (litres) => litres ?? 0;

/** Saline that was noted with events [L]. @param {TreatmentDocument} doc */
export const salineOf = (doc) => doc.events.reduce((sum, row) => sum + given(row.saline_l), 0);

/**
 * A found weight this far from what the fluid says points to a scale, an entry or the machine (common practice) [kg].
 */
export const WEIGHT_OFF = 0.5;

/** What the two weights and what came in say was taken off [L]; null where a weight is missing, or it cannot be. */
export function weighedOff(doc) {
  const { pre_weight_kg: before, post_weight_kg: after } = doc;
  if (before == null || after == null) return null;
  const litres = before - after + (given(doc.rinse_back_l) + given(doc.intake_l) + salineOf(doc));
  return between(litres, 0, MOST_OFF) ? litres : null;
}

/**
 * What the machine took off, by the best way that is believed, as the unit does it (dosing/science/course_fluid.py) ->
 * {litres, by: "total" | "weights" | "readings" | "", read: {litres, at} | null}; litres null where none is.
 * @param {TreatmentDocument} doc
 */
export function takenOff(doc) {
  const last = lastValues(doc.readings, "9").uf_volume_l;
  const read = last ? { litres: last.value, at: last.at } : null;
  if (doc.uf_removed_l != null) return { litres: doc.uf_removed_l, by: "total", read };
  const weighed = weighedOff(doc);
  if (weighed !== null) return { litres: weighed, by: "weights", read };
  const length = doc.started_at && doc.ended_at && minutesBetween(doc.started_at, doc.ended_at);
  const late = read && length && minutesBetween(doc.started_at, read.at) >= ENOUGH_READ * length;
  return late ? { litres: read.litres, by: "readings", read } : { litres: null, by: "", read };
}

/** So far apart two looks at the machine lie at the least, as at the unit (dosing/science/fluid.py) [min]. */
const STRETCH = 15;

/**
 * The machine's volume so far: nought at the start, as it was read, its total at the end -> [{at, litres}].
 * @param {TreatmentDocument} doc
 */
function looks({ started_at: started, ended_at: ended, uf_removed_l: total, readings }) {
  const end = total != null && ended ? Date.parse(ended) : null;
  const read = readings
    .map((row) => ({ at: Date.parse(row.at), litres: row.uf_volume_l }))
    .filter(({ at, litres }) => litres != null && at > Date.parse(started ?? "") && !(end !== null && at >= end))
    .sort((one, other) => one.at - other.at);
  const last = end === null ? [] : [{ at: end, litres: total }];
  return [{ at: Date.parse(started ?? ""), litres: 0 }, ...read, ...last];
}

const apart = (from, to) => (to.at - from.at) / 60_000;

/**
 * The fastest that fluid came off between two looks -> {rate [mL/kg/h], from, to} or null where nothing says it: the
 * mean of the whole hides what came off after a stop. weight in kg. @param {TreatmentDocument} doc
 */
export function fastest(doc, weight) {
  if (!doc.started_at || weight == null) return null;
  const seen = looks(doc);
  /** @type {any} */
  let most = null;
  for (const [index, from] of seen.entries()) {
    const to = seen.slice(index).find((each) => apart(from, each) >= STRETCH);
    if (!to || to.litres < from.litres) continue;
    const found = rate(to.litres - from.litres, apart(from, to), weight);
    if (!most || found > most.rate) most = { rate: found, from, to };
  }
  const moment = ({ at }) => new Date(at).toISOString();
  return most && { rate: most.rate, from: moment(most.from), to: moment(most.to) };
}

/** Of a time that is left the most that a limit allows [L], in hundredths rounded down. */
const mostIn = (minutes, target, limit) => Math.floor(((limit * target * minutes) / (60 * 1000)) * 100 + SLACK) / 100;

/**
 * What is left after a stop -> {why} ("no_plan", "not_known", "no_time", "odd", "done"), with `left` [L] where that is
 * known, or {left, rate [mL/kg/h], perHour [mL/h], limit, over, most, stays [L]}. planned and off in L, minutes left.
 */
export function rest({ planned, off, minutes, target, limit }) {
  if (planned == null) return { why: "no_plan" };
  if (off == null) return { why: "not_known" };
  const left = planned - off;
  if (left <= SLACK) return { why: "done", left: 0 };
  if (minutes == null || minutes <= 0) return { why: "no_time", left };
  if (target == null || limit == null || !between(target, 20, 300)) return { why: "odd", left };
  const perKilo = rate(left, minutes, target);
  const most = mostIn(minutes, target, limit);
  const over = overLimit(perKilo, limit);
  return {
    left,
    rate: perKilo,
    perHour: (left * 1000 * 60) / minutes,
    limit,
    over,
    most: over ? most : left,
    stays: over ? left - most : 0,
  };
}
