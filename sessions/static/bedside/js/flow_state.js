/*
 * Trouble that is gone through step by step: where an event stands on its way, and what its answers say of it. The
 * steps are the unit's (kit.flows, made by sessions/texts/flows.py); the event's row in the record keeps its times, the
 * plan of the night where it is. Pure but for the clock that is handed in.
 */

import { useWords } from "./choices.js";
import { instant } from "./clock.js";
import { figureOf } from "./declared.js";
import { addEvent, limitsOf, setRow } from "./draft.js";
import { coded } from "./ready.js";
import { fmt, t, timeOf } from "./words.js";

export const OVER = "over";
/** A drop of the blood pressure. */
export const DROP = "hypotension";
/** Kinds in which the fluid removal is turned off; in the others the blood pump stands still. */
const OF_THE_FLUID = new Set([DROP]);
/** A pressure this old is measured again before it counts for a way through (ms). */
const FRESH = 10 * 60_000;

/** The steps of a kind of event; [] where it has no way of its own. @param {Kit | null} kit @returns {FlowStep[]} */
export const stepsOf = (kit, kind) => kit?.flows?.[kind] ?? [];
/** @param {Kit | null} kit */
export const hasFlow = (kit, kind) => stepsOf(kit, kind).length > 0;

const nameOf = (event) => `${event.kind} ${event.id}`;
/** The address of an event's way, by its own name: its time can be that of another one. @returns {[string, string]} */
export const addressOf = (event) => [event.kind, event.id];
/** @param {Night | null} night @param {string[]} address */
export const indexAt = (night, [kind, id]) =>
  night?.doc.events.findIndex((event) => event.kind === kind && event.id === id) ?? -1;

/**
 * Where the newest step leads that the record has of it, by what was answered there: what another phone knows.
 * @param {Night} night
 */
function byRecord(night, event, steps) {
  if (event.outcome) return OVER;
  const [newest] = night.doc.steps
    .filter((row) => instant(row.at) >= instant(event.at) && steps.some((step) => step.stamp === row.key))
    .reverse()
    .sort((one, other) => Date.parse(other.at) - Date.parse(one.at));
  if (!newest) return steps[0]?.key;
  const step = steps.find(({ stamp }) => stamp === newest.key);
  const next = nextOf(steps, step, step.answers.find(({ code }) => newest.words.includes(coded(code)))?.then);
  return next === OVER ? step.key : next; // without an outcome it is not over
}

/**
 * Where an event stands: {step (its key, or OVER), since (ISO), past: [keys]}.
 * @param {Night} night @param {FlowStep[]} steps
 */
export const standOf = (night, event, steps) =>
  night.plan.flows?.[nameOf(event)] ?? { step: byRecord(night, event, steps), since: event.at, past: [] };

/** @param {Night} night */
export function setStand(night, event, stand) {
  night.plan.flows = { ...night.plan.flows, [nameOf(event)]: stand };
}

/** Begin one, or find the one of this kind that is under way -> its row. @param {Ctx} ctx @param {Night} night */
export function begin(ctx, night, kind, at = ctx.now().toISOString()) {
  const steps = stepsOf(ctx.kit, kind);
  const open = night.doc.events.findLast((event) => event.kind === kind && standOf(night, event, steps).step !== OVER);
  if (open) return open;
  const index = addEvent(night, { kind, at });
  const event = night.doc.events[index];
  setStand(night, event, { step: steps[0].key, since: at, past: [] });
  return event;
}

/** Where an answer leads from a step: the key of a step, or OVER. @param {FlowStep[]} steps */
export function nextOf(steps, step, then = "") {
  if (then === OVER || steps.some((each) => each.key === then)) return then;
  return steps[steps.indexOf(step) + 1]?.key ?? OVER;
}

const DEEDS = {
  pause: (event, at) => ({ paused_at: event.paused_at ?? at, resumed_at: null }),
  resume: (event, at) => ({ resumed_at: event.paused_at ? at : null }),
  went_on: (_event, at) => ({ outcome: "went_on", ended_at: at }),
  ended: (_event, at) => ({ outcome: "ended", ended_at: at }),
  unit: (event) => ({ called: event.called === "emergency" ? "emergency" : "unit" }),
  emergency: () => ({ called: "emergency" }),
  not_reached: (event) => ({ called: event.called || "not_reached" }),
};

/** The times of an event's course, in the order in which they come. */
export const MOMENTS = /** @type {const} */ (["paused_at", "resumed_at", "ended_at"]);

/** The latest of several moments, whichever are known. @param {(Iso | null | undefined)[]} moments @returns {Iso} */
const latest = (...moments) =>
  new Date(Math.max(...moments.flatMap((iso) => (iso ? Date.parse(iso) : [])))).toISOString();

/**
 * Write what an answer says into its row; no moment comes before the event or what was written of it, also where the
 * phone's clock was put back meanwhile. @param {Night} night @param {string[]} deeds @param {Iso} at
 */
export function write(night, index, deeds, at) {
  for (const deed of deeds) {
    const event = night.doc.events[index];
    const moment = latest(at, event.at, event.paused_at, event.resumed_at);
    setRow(night, "events", index, DEEDS[deed](event, moment));
  }
}

/** Another beginning of an event -> its other times, which keep their distance and their order. @param {Iso} iso */
export function moveTimes(event, iso) {
  const by = Date.parse(iso) - Date.parse(event.at);
  let before = iso;
  const moved = MOMENTS.filter((name) => event[name]).map((name) => {
    before = latest(before, new Date(Date.parse(event[name]) + by).toISOString());
    return [name, before];
  });
  return Object.fromEntries(moved);
}

/** How an event went, in words: ["fluid removal off 23:10", "on again 23:32", …]. */
export function courseWords(event) {
  const ofFluid = OF_THE_FLUID.has(event.kind);
  const time = (name) => ({ time: timeOf(event[name]) });
  return [
    event.paused_at &&
      (ofFluid ? t("fluid removal off {time}", time("paused_at")) : t("blood pump stopped {time}", time("paused_at"))),
    event.resumed_at &&
      (ofFluid ? t("on again {time}", time("resumed_at")) : t("running again {time}", time("resumed_at"))),
    event.ended_at && t("over {time}", time("ended_at")),
    event.use && useWords(event.use),
    { went_on: t("the treatment went on"), ended: t("the treatment was ended") }[event.outcome],
    {
      unit: t("the unit was called"),
      emergency: t("the emergency number was called"),
      not_reached: t("the unit was not reached"),
    }[event.called],
  ].filter(Boolean);
}

/**
 * The same with what was measured and given at it: ["84/46 mmHg", "saline given 0.1 L", …].
 * @param {Kit} kit @param {TreatmentDocument["events"][number]} event
 */
export function toldOf(kit, event) {
  const saline = limitsOf(kit, "events.saline_l");
  const pressure = [event.systolic, event.diastolic].map((each) => (each == null ? "–" : fmt(each))).join("/");
  return [
    event.systolic != null && `${pressure} ${limitsOf(kit, "events.systolic")?.unit ?? ""}`.trim(),
    event.saline_l != null &&
      t("saline given {value}", { value: `${figureOf(saline, event.saline_l)} ${saline?.unit ?? ""}`.trim() }),
    ...courseWords(event),
  ].filter(Boolean);
}

/**
 * What is off at this moment: the events that paused and did not go on, of a treatment that runs.
 * @param {Night} night
 */
export const pausedNow = ({ doc }) =>
  doc.ended_at ? [] : doc.events.filter((event) => event.paused_at && !event.resumed_at && event.outcome !== "ended");

/** Events on their way, as indices. @param {Ctx} ctx */
export const underWay = (ctx) =>
  ctx.night.doc.events.flatMap((event, index) => {
    const steps = stepsOf(ctx.kit, event.kind);
    return isOfTreatment(ctx.night, event) && steps.length && standOf(ctx.night, event, steps).step !== OVER
      ? [index]
      : [];
  });

/** Where the steps of an event are: its own way, else its card, else null. @param {Kit | null} kit */
export function wayOf(kit, event) {
  if (hasFlow(kit, event.kind)) return ["flow", ...addressOf(event)];
  const card = kit?.card_of?.[event.kind];
  return card ? ["danger", card] : null;
}

/** Whether an event belongs to the treatment that runs, and not to the hours before it. @param {Night} night */
const isOfTreatment = ({ doc }, event) => instant(event.at) >= instant(doc.started_at ?? event.at);

/**
 * Events that are not at their end, as indices: those on their way, and those with a card that nobody called over.
 * @param {Ctx} ctx
 */
export function notAtEnd(ctx) {
  const going = new Set(underWay(ctx));
  const open = (event, index) =>
    going.has(index) || (!hasFlow(ctx.kit, event.kind) && wayOf(ctx.kit, event) && !event.outcome);
  return ctx.night.doc.events.flatMap((event, index) =>
    isOfTreatment(ctx.night, event) && open(event, index) ? [index] : [],
  );
}

/**
 * The trouble with which somebody said that the treatment is over, while the record has no end yet; else undefined.
 * @param {Night} night
 */
export const overBy = (night) =>
  night.doc.ended_at
    ? undefined
    : night.doc.events.findLast((event) => event.outcome === "ended" && isOfTreatment(night, event));

/**
 * Why the blood is not simply given back tonight: "never", "ask", or "" where it is. What the treatment went on after
 * counts no more. @param {Kit | null} kit @param {Night} night
 */
export function bloodStays(kit, night) {
  const rules = night.doc.events
    .filter((event) => event.outcome !== "went_on" && isOfTreatment(night, event))
    .map((event) => kit?.blood_back?.kinds[event.kind]);
  return ["never", "ask"].find((rule) => rules.some((each) => each === rule)) ?? "";
}

/**
 * The pressures of a way in order of time: its own, and those of readings from shortly before it on -> [{systolic,
 * diastolic, at}]. @param {Night} night
 */
export function pressuresOf(night, event) {
  const from = Date.parse(event.at) - FRESH;
  return [...night.doc.readings, event]
    .filter((row) => row.systolic != null && Date.parse(row.at) >= from)
    .sort((one, other) => Date.parse(one.at) - Date.parse(other.at));
}

/** The newest of them, or null. @param {Night} night */
export const measuredOf = (night, event) => pressuresOf(night, event).at(-1) ?? null;

/** The newest pressure of a treatment, also one that was noted with trouble. @param {TreatmentDocument} doc */
export const lastPressure = (doc) =>
  [...doc.readings, ...doc.events]
    .filter((row) => row.systolic != null)
    .sort((one, other) => Date.parse(one.at) - Date.parse(other.at))
    .at(-1);

/** Whether the pressure belongs to what a way asks. @param {FlowStep[]} steps */
export const asksPressure = (steps) => steps.some((step) => step.asks === "pressure");

/**
 * Below which systolic pressure [mmHg] something is done at once: the unit's limit, null without one.
 * @param {Ctx} ctx
 */
export function lowLimit(ctx) {
  const low = ctx.kit?.low_pressure;
  const before = ctx.night?.doc.pre_systolic;
  return low ? (before != null && before >= low.high_before ? low.after_high : low.usual) : null;
}

/** @param {Ctx} ctx */
export function isLow(ctx, systolic) {
  const limit = lowLimit(ctx);
  return systolic != null && limit != null && systolic < limit;
}

/** What is said wherever a pressure is low; "" of one that is not. @param {Ctx} ctx */
export const lowWords = (ctx, systolic) =>
  isLow(ctx, systolic)
    ? t("{value} mmHg is below {limit} mmHg: a low blood pressure.", { value: systolic, limit: lowLimit(ctx) })
    : "";

/** The newest pressure of a way that was measured at least twice, where it is still low; "" else. @param {Ctx} ctx */
export function stillLow(ctx, event) {
  const rows = pressuresOf(ctx.night, event);
  const words = rows.length > 1 ? lowWords(ctx, rows.at(-1)?.systolic) : "";
  return words && `${t("Still low.")} ${words}`;
}
