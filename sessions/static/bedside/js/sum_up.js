/* A night looked over before it is handed over: what is missing, what is unusual, what came out of it. Pure. */

import { putRight } from "./check_rows.js";
import { eventWords } from "./choices.js";
import { later, minutesBetween } from "./clock.js";
import { weightParts } from "./declared.js";
import { toldOf } from "./flow_state.js";
import * as fluid from "./fluid.js";
import { doseLimits, heparinTonight } from "./heparin.js";
import { inWords, oddity, shown, withUnit } from "./numbers.js";
import { calledHere, wordsOf } from "./ready.js";
import { fmt, hours, t, timeOf } from "./words.js";

/** What machines round when a removal is set on them (common practice) [L]. */
const SET_OFF = 0.1;
const TOTAL = "uf_removed_l";
const WANTED = [
  "pre_weight_kg",
  "pre_systolic",
  "pre_diastolic",
  "post_weight_kg",
  "post_systolic",
  "post_diastolic",
  TOTAL,
  "rinse_back_l",
];
const LISTS = ["readings", "events", "sites"];

/** @param {Kit} kit @param {string} path */
const labelled = (kit, path) => t(kit.limits[path.replace(/\[\d+\]/g, "")]?.label ?? path);

/** What has to stand before it can go: start and end, the end after the start, of paper each cell -> [words]. */
export function blocking({ doc, plan }) {
  const found = [];
  if (!doc.started_at) found.push(t("The start of the treatment is missing."));
  if (!doc.ended_at) found.push(t("The end of the treatment is missing."));
  if (doc.started_at && doc.ended_at && doc.ended_at <= doc.started_at)
    found.push(t("The treatment ends before it starts."));
  return [...found, ...(plan.paper?.wrong ?? [])];
}

/** Of a night from paper, what is unusual and was not looked at twice -> [{path, words}]. @param {Night} night */
export const askedTwice = ({ plan }) => plan.paper?.asked ?? [];

/**
 * Treatments of the same time that the unit has already, to a night from paper: somebody else may have entered it.
 * @param {Night} night @param {Kit} kit
 */
export function sameTime({ id, doc, plan }, kit) {
  if (!plan.paper || !doc.started_at || !doc.ended_at) return [];
  const until = ({ started_at: at, ended_at: end, minutes }) => end ?? (minutes == null ? at : later(at, minutes));
  return [...(kit.history ?? []), ...(kit.open ?? [])].filter(
    (each) =>
      each.id !== id &&
      minutesBetween(each.started_at, doc.ended_at) > 0 &&
      minutesBetween(doc.started_at, until(each)) > 0,
  );
}

/** What is not known, by name; nothing is held up by it. @param {Night} night @param {Kit} kit */
export function missing(night, kit) {
  const { doc, plan } = night;
  const found = WANTED.filter((path) => doc[path] == null).map((path) =>
    path === TOTAL ? t("Fluid removed, as the machine showed it at the end") : labelled(kit, path),
  );
  if (!doc.readings.length) found.push(t("Readings"));
  const needles = kit.run_sheet?.technique !== "catheter";
  if (needles && doc.sites.some((row) => row.bleeding_minutes == null)) found.push(t("Bleeding minutes"));
  if (needles && !doc.sites.length) found.push(t("Needle sites"));
  for (const { kind, given } of heparinTonight({ kit, night })) if (!given) found.push(kind.label);
  if (kit.numbers?.includes("set_uf_l") && doc.set_uf_l == null && !plan.paper) found.push(labelled(kit, "set_uf_l"));
  if (!doc.dialyser_look) found.push(t("Look of the dialyser"));
  if (doc.disinfected == null) found.push(t("Whether the machine was disinfected"));
  const checks = (kit.checklist?.items ?? []).filter(
    (item) => item.part === "setup" && !doc.checks.some((row) => row.key === item.key),
  );
  if (checks.length) found.push(t("{n} checks before the treatment", { n: checks.length }));
  return found;
}

/** The fastest stretch, where it says more than the mean does. */
const telling = (found, mean) => (found && (mean === null || fmt(found.rate, 1) !== fmt(mean, 1)) ? found : null);

/**
 * What came out of the night by this phone's own arithmetic: {minutes, litres, by and read (of
 * `takenOff`), rate, fastest, limit, off, gained, expected, lowest}; null where unknown.
 * @param {Night} night @param {Kit} kit @param {number | null} [lastPost]
 */
export function figures({ doc }, kit, lastPost = null) {
  const ordered = kit.prescription;
  const minutes = doc.started_at && doc.ended_at ? minutesBetween(doc.started_at, doc.ended_at) : null;
  const { litres, by, read } = fluid.takenOff(doc);
  const known = litres !== null && minutes !== null && minutes >= 30 && doc.post_weight_kg != null;
  const rate = known ? fluid.rate(litres, minutes, doc.post_weight_kg) : null;
  const gained = fluid.gain({ pre: doc.pre_weight_kg, last: lastPost, target: ordered?.target_weight_kg });
  const balance = doc.pre_weight_kg != null && litres !== null && doc.rinse_back_l != null && doc.intake_l != null;
  const saline = fluid.salineOf(doc);
  const systolic = [
    doc.pre_systolic,
    ...doc.readings.map((row) => row.systolic),
    ...doc.events.map((row) => row.systolic),
    doc.post_systolic,
  ].filter((each) => each != null);
  return {
    minutes,
    litres,
    by,
    read,
    gained,
    limit: ordered?.uf_rate_limit_ml_kg_h ?? null,
    rate,
    fastest: telling(fluid.fastest(doc, doc.post_weight_kg), rate),
    off: doc.post_weight_kg != null && ordered ? doc.post_weight_kg - ordered.target_weight_kg : null,
    expected: balance
      ? fluid.expectedAfter({ pre: doc.pre_weight_kg, litres, rinse: doc.rinse_back_l, drinks: doc.intake_l, saline })
      : null,
    lowest: systolic.length ? Math.min(...systolic) : null,
  };
}

/** @param {TreatmentDocument} doc @param {Kit} kit */
function oddNumbers(doc, kit) {
  const plain = Object.keys(doc)
    .filter((path) => typeof doc[path] === "number" && kit.limits[path])
    .map((path) => [path, doc[path]]);
  const rows = [...LISTS, "checks", "medicines"].flatMap((list) =>
    doc[list].flatMap((row, index) =>
      Object.entries(row)
        .filter(([name, value]) => typeof value === "number" && kit.limits[`${list}.${name}`])
        .map(([name, value]) => [`${list}[${index}].${name}`, value]),
    ),
  );
  return [...plain, ...rows]
    .filter(([path, value]) => oddity(kit.limits[path.replace(/\[\d+\]/g, "")], value))
    .map(([path, value]) => `${labelled(kit, path)}: ${inWords(kit.limits[path.replace(/\[\d+\]/g, "")], value)}`);
}

/**
 * The fastest stretch in words, with its limit where there is one.
 * @param {{rate: number, from: Iso, to: Iso}} found
 */
export function fastestWords({ rate, from, to }, limit) {
  const words = { rate: fmt(rate, 1), from: timeOf(from), to: timeOf(to), limit: limit == null ? "" : fmt(limit) };
  if (limit == null) return t("{rate} mL/kg/h from {from} to {to}", words);
  return fluid.overLimit(rate, limit)
    ? t("{rate} mL/kg/h from {from} to {to}, over the limit of {limit}", words)
    : t("{rate} mL/kg/h from {from} to {to}, under the limit of {limit}", words);
}

/** What was set otherwise than prescribed. @param {TreatmentDocument} doc @param {Kit} kit */
function setOtherwise(doc, kit) {
  return Object.entries(kit.limits).flatMap(([path, limits]) => {
    const [set, prescribed] = [doc[path], kit.prescription?.[limits.ordered ?? ""]];
    if (set == null || prescribed == null || inWords(limits, set) === inWords(limits, prescribed)) return [];
    const words = { label: t(limits.label), value: inWords(limits, set), prescribed: inWords(limits, prescribed) };
    return [t("{label}: {value}, prescribed {prescribed}", words)];
  });
}

/**
 * What the unit will look at twice -> [words]: unusual numbers, events, overruled checks, the plan against what came.
 * @param {Night} night @param {Kit} kit @param {number | null} [lastPost]
 */
export function unusual(night, kit, lastPost) {
  const { doc } = night;
  const { rate, fastest, limit, expected, minutes, off } = figures(night, kit, lastPost);
  const planned = doc.planned_minutes ?? kit.prescription?.minutes;
  return [
    ...doc.events.map((event) => [eventWords(kit, event.kind), ...toldOf(kit, event)].join(", ")),
    ...doc.checks
      .filter((row) => !row.passed)
      .map((row) =>
        putRight(doc.checks).includes(row)
          ? t("Check not good at first: {check}", { check: calledHere(kit, row) })
          : row.overruled
            ? t("Check overruled: {check} ({reason})", {
                check: calledHere(kit, row),
                reason: wordsOf(kit, row.reason),
              })
            : t("Check not good: {check}", { check: calledHere(kit, row) }),
      ),
    ...oddNumbers(doc, kit),
    ...heparinTonight({ kit, night })
      .filter(({ kind, given }) => given?.amount != null && oddity(doseLimits(kit, kind), given.amount))
      .map(({ kind, given }) =>
        t("{label}: {value}, prescribed {prescribed}", {
          label: kind.label,
          value: withUnit(given.amount, wordsOf(kit, kind.unit)),
          prescribed: withUnit(kind.prescribed, wordsOf(kit, kind.unit)),
        }),
      ),
    fluid.overLimit(rate, limit) &&
      t("UF rate {rate} mL/kg/h, over the limit of {limit}", { rate: fmt(rate, 1), limit: fmt(limit) }),
    fastest && fluid.overLimit(fastest.rate, limit) && t("UF rate {words}", { words: fastestWords(fastest, limit) }),
    expected !== null &&
      doc.post_weight_kg != null &&
      Math.abs(doc.post_weight_kg - expected) >= fluid.WEIGHT_OFF &&
      t("The weight after is {kg} {unit} away from what the fluid says: {expected} {unit}", {
        ...weightParts(kit, Math.abs(doc.post_weight_kg - expected)),
        expected: weightParts(kit, expected).kg,
      }),
    doc.set_uf_l != null &&
      doc.planned_uf_l != null &&
      Math.abs(doc.set_uf_l - doc.planned_uf_l) > SET_OFF &&
      t("{set} L set on the machine, {planned} L planned", {
        set: fmt(doc.set_uf_l),
        planned: fmt(doc.planned_uf_l),
      }),
    ...setOtherwise(doc, kit),
    ["part", "none"].includes(doc.blood_return) && t("The blood in the lines was not all given back"),
    off !== null && Math.abs(off) >= 1 && t("{kg} {unit} off the target weight", weightParts(kit, off)),
    minutes &&
      planned &&
      minutes < 0.9 * planned &&
      t("{hours} h instead of {planned} h", { hours: hours(minutes), planned: hours(planned) }),
    (doc.dialyser_look === "half" || doc.dialyser_look === "clotted") && t("The dialyser was clotted in part or whole"),
  ].filter(Boolean);
}

/** The median, null of nothing. */
export function middle(values) {
  const sorted = [...values].sort((a, b) => a - b);
  const half = sorted.length >> 1;
  return sorted.length ? (sorted[half] + sorted.at(-half - 1)) / 2 : null;
}

/** Lowest, middle and highest of the last ten nights: {nights, low, middle, high}, or null. */
export function spread(history, key) {
  const values = history
    .slice(0, 10)
    .map((night) => night[key])
    .filter((value) => value != null);
  return values.length
    ? { nights: values.length, low: Math.min(...values), middle: middle(values), high: Math.max(...values) }
    : null;
}

/** How a number lies to the nights before, as a sentence; "" where nothing can be said. */
export function againstBefore(value, before, decimals, write = (number) => fmt(number, decimals)) {
  if (value == null || !before) return "";
  const [low, middle, high] = [before.low, before.middle, before.high].map(write);
  const words = { low, middle, high, n: before.nights };
  if (before.nights < 3) return t("before: {low} to {high}", words);
  if (value > before.high && shown(value, decimals) !== shown(before.high, decimals))
    return t("higher than in each of the last {n} nights ({low} to {high})", words);
  if (value < before.low && shown(value, decimals) !== shown(before.low, decimals))
    return t("lower than in each of the last {n} nights ({low} to {high})", words);
  return t("as in the last {n} nights: {low} to {high}, middle {middle}", words);
}
