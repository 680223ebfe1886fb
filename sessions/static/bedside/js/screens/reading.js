/*
 * A reading: each number touched, none taken over unseen. `#/reading` begins one, `#/reading/2` shows the third again.
 */

import { keepAwake } from "../awake.js";
import { measureRow } from "../bluetooth/row.js";
import { later } from "../clock.js";
import { lastValues, minuteOf } from "../course.js";
import {
  addReading,
  askedAt,
  confirmPath,
  limitsAt,
  limitsOf,
  notUnder,
  removeRow,
  shortOf,
  writeNumber,
} from "../draft.js";
import { DROP, hasFlow, isLow, lowWords, underWay } from "../flow_state.js";
import { momentRow, pointTo, retime } from "../moment_row.js";
import { withUnit } from "../numbers.js";
import { register, replace } from "../router.js";
import { h, note, toast } from "../ui.js";
import { valueRow } from "../value_row.js";
import { dayOf, t, timeOf } from "../words.js";
import { enter } from "./flow.js";

/** Nobody whose pressure has fallen is asked whether it is right: it is kept, marked, and the unit asks. */
const PRESSURE = new Set(["systolic", "diastolic"]);

/** @param {Ctx} ctx */
const indexOf = (ctx, params) =>
  params[0] != null && ctx.night.doc.readings[Number(params[0])] ? Number(params[0]) : null;

/**
 * Change the reading, or begin it by this first value; the address follows where order of time puts it.
 * @param {Ctx} ctx
 */
function write(ctx, index, field, label, value, asked) {
  const limits = limitsOf(ctx.kit, `readings.${field}`);
  const words = t("{label}: {value}", { label, value: value == null ? "–" : withUnit(value, limits?.unit) });
  ctx.change(words, (night) => {
    const at = index ?? addReading(night, { at: minuteOf(ctx.now()) });
    writeNumber(night, `readings[${at}].${field}`, value, limits, asked);
    pointTo(ctx, "reading", at);
  });
}

/** What is ordered of a number that is read. @param {Ctx} ctx @param {string} field @returns {number | null} */
const orderedOf = (ctx, field) => ctx.kit.prescription?.[field] ?? null;

/** Where a value in sight comes from; what is ordered stands beside one that differs. @param {Ctx} ctx */
function besideWords(ctx, field, before) {
  if (!before) return "";
  const ordered = orderedOf(ctx, field);
  const prescribed = ordered === null ? "" : t("prescribed {value}", { value: withUnit(ordered) });
  if (before.ordered) return prescribed;
  const last = t("last {value}, {time}", { value: withUnit(before.value), time: whenWords(ctx, before.at) });
  return ordered === null || ordered === before.value ? last : `${last} · ${prescribed}`;
}

/** Last night's values say the day, tonight's the time. @param {Ctx} ctx @param {Iso} iso */
const whenWords = (ctx, iso) =>
  ctx.night.doc.started_at && iso >= ctx.night.doc.started_at ? timeOf(iso) : dayOf(iso);

/** @param {Ctx} ctx */
function row(ctx, index, field, last) {
  const own = limitsAt(ctx.kit, index == null ? null : ctx.night.doc.readings[index], `readings.${field}`);
  if (!own) return null;
  const limits = notUnder(own, last[field]?.value);
  const label = t(limits.label);
  const before = last[field];
  return valueRow({
    name: field,
    label,
    short: shortOf(ctx.kit, `readings.${field}`),
    limits,
    value: index == null ? null : ctx.night.doc.readings[index][field],
    last: before?.value ?? null,
    lastWords: besideWords(ctx, field, before),
    isOrdered: Boolean(before?.ordered),
    unasked: PRESSURE.has(field),
    confirmed: index != null && ctx.night.doc.confirmed.includes(`readings[${index}].${field}`),
    write: (value, asked) => write(ctx, index, field, label, value, asked),
    confirm: () =>
      ctx.change(t("{label} confirmed", { label }), (night) => confirmPath(night, `readings[${index}].${field}`)),
  });
}

/** @param {Ctx} ctx @param {Iso} iso */
function moveTo(ctx, index, iso) {
  const { readings } = ctx.night.doc;
  const taken = readings.some((each, other) => other !== index && each.at.slice(0, 16) === iso.slice(0, 16));
  if (taken) return toast(t("There is a reading at {time} already.", { time: timeOf(iso) }));
  ctx.change(t("Time of the reading: {time}", { time: timeOf(iso) }), (night) =>
    pointTo(ctx, "reading", retime(night, "readings", index, iso)),
  );
}

/** @param {Ctx} ctx */
function drop(ctx, index) {
  replace("running");
  ctx.change(t("Reading removed"), (night) => removeRow(night, "readings", index));
}

/** A time for a reading that does not exist yet: it begins there, empty. @param {Ctx} ctx @param {Iso} iso */
function beginAt(ctx, iso) {
  ctx.change(t("Reading at {time}", { time: timeOf(iso) }), (night) =>
    pointTo(ctx, "reading", addReading(night, { at: iso })),
  );
}

/**
 * Before the first reading of a night, the last one of the night before is in sight; of what is ordered, what holds
 * tonight. @param {Ctx} ctx
 */
function lastNight(ctx) {
  const reading = ctx.kit.history?.find((night) => night.last_reading)?.last_reading;
  const before = lastValues(reading ? [reading] : [], ctx.now().toISOString());
  const ordered = askedAt(ctx.kit, "readings")
    .filter((field) => typeof orderedOf(ctx, field) === "number")
    .map((field) => [field, { value: orderedOf(ctx, field), at: null, ordered: true }]);
  return { ...before, ...Object.fromEntries(ordered) };
}

/** @param {Ctx} ctx */
function draw(ctx, params) {
  if (!ctx.night) return note(t("No treatment is open."));
  keepAwake(true);
  const index = indexOf(ctx, params);
  const reading = index == null ? null : ctx.night.doc.readings[index];
  const at = reading?.at ?? minuteOf(ctx.now());
  const last = { ...lastNight(ctx), ...lastValues(ctx.night.doc.readings, reading ? at : later(at, 1)) };
  return [
    momentRow("reading", t("Time"), at, (iso) => (index == null ? beginAt(ctx, iso) : moveTo(ctx, index, iso))),
    h(
      "div",
      { class: "values" },
      askedAt(ctx.kit, "readings").map((field) => row(ctx, index, field, last)),
    ),
    cuffRow(ctx, index),
    lowNote(ctx, reading),
  ].filter(Boolean);
}

/** A reading of a pressure at which something is done at once. @param {Ctx} ctx */
const fallen = (ctx, reading) => isLow(ctx, reading?.systolic);

/** @param {Ctx} ctx */
const lowNote = (ctx, reading) => fallen(ctx, reading) && note(lowWords(ctx, reading.systolic), "care");

/** To what is done now: begun with this reading, or gone on with. @param {Ctx} ctx */
const toFlow = (ctx, reading) => ({
  label: t("Low pressure: what to do now"),
  tap: () => enter(ctx, DROP, reading.at),
  tone: "danger",
});

/** What the cuff measures goes into this reading, or begins one. @param {Ctx} ctx */
function cuffRow(ctx, index) {
  const paths = (night) => {
    const at = night && (index ?? addReading(night, { at: minuteOf(ctx.now()) }));
    if (night) pointTo(ctx, "reading", at);
    const row = night ? `readings[${at}]` : "readings";
    return { systolic: `${row}.systolic`, diastolic: `${row}.diastolic`, pulse: `${row}.pulse` };
  };
  return measureRow(ctx, "pressure", paths);
}

/** @param {Ctx} ctx */
function bar(ctx, params) {
  if (!ctx.night) return [{ label: t("Tonight"), go: "tonight" }];
  const index = indexOf(ctx, params);
  const done = {
    label: index == null ? t("Back to the treatment") : t("Done"),
    go: "running",
    tone: index == null ? "plain" : "go",
  };
  const reading = index == null ? null : ctx.night.doc.readings[index];
  const known = ctx.night.doc.events.some(
    (event) => event.kind === DROP && Date.parse(event.at) >= Date.parse(reading?.at ?? ""),
  );
  const helps = fallen(ctx, reading) && (!known || underWay(ctx).length > 0) && hasFlow(ctx.kit, DROP);
  if (helps) return [toFlow(ctx, reading), { ...done, tone: "plain" }];
  return index == null ? [done] : [done, { label: t("Remove this reading"), tap: () => drop(ctx, index) }];
}

register("reading", { title: () => t("Reading"), draw, bar });
