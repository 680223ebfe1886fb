/*
 * What was treated already: the records of this phone and of the unit that belong to a day, so that nobody says that
 * there was none, or begins a second one, without being told. Pure but for the clock that is handed in.
 */

import { minutesBetween, toWall } from "./clock.js";

/** So many hours after midnight an evening is still the one before, as at the unit (sessions/models/local_time.py). */
const STILL_EVENING_H = 3;
/** Whoever ended so lately is asked before another one begins, whatever the day (common practice) [min]. */
const LATELY = 8 * 60;

/** The day that a treatment of this moment serves, where the patient lives: "2026-03-01". @param {Iso} iso */
export const dayServed = (iso, zone) =>
  new Date(Date.parse(`${toWall(iso, zone)}Z`) - STILL_EVENING_H * 3_600_000).toISOString().slice(0, 10);

/** @param {Night} night */
const ofPhone = ({ id, doc, stage, delivered }) => ({
  id,
  started_at: doc.started_at,
  ended_at: doc.ended_at,
  stage,
  here: true,
  waits: stage === "handed" && !delivered,
});

/** @param {any} document */
const ofUnit = ({ id, started_at, ended_at, status }) => ({
  id,
  started_at,
  ended_at: ended_at ?? null,
  stage: status !== "open" ? "handed" : ended_at ? "after" : "running",
  here: false,
  waits: false,
});

/** @param {PastNight} night */
const ofHistory = ({ id, started_at, minutes }) =>
  ofUnit({
    id,
    started_at,
    ended_at: minutes == null ? null : new Date(Date.parse(started_at) + minutes * 60_000).toISOString(),
    status: "finished",
  });

/**
 * Every treatment that began, of which the phone knows, newest first; neither practice nor what was begun by mistake ->
 * [{id, started_at, ended_at, stage, here, waits}]. here: that its record is on this phone; waits: that the unit does
 * not have it yet. @param {Ctx} ctx
 */
function known(ctx) {
  const own = ctx.nights.filter((night) => !night.practice && !night.mistaken && night.doc.started_at).map(ofPhone);
  const told = new Set(ctx.nights.map(({ id }) => id));
  const unit = [...(ctx.kit.open ?? []).map(ofUnit), ...(ctx.kit.history ?? []).map(ofHistory)];
  return [...own, ...unit.filter(({ id }) => !told.has(id))].sort((one, other) =>
    one.started_at < other.started_at ? 1 : -1,
  );
}

/** Those of the day that is now. @param {Ctx} ctx */
export function treatedToday(ctx) {
  const { zone } = ctx.kit.patient;
  const day = dayServed(ctx.now().toISOString(), zone);
  return known(ctx).filter((each) => dayServed(each.started_at, zone) === day);
}

/** The one that was done today, or ended a few hours ago, and is handed over; null where none is. @param {Ctx} ctx */
export function doneAlready(ctx) {
  const now = ctx.now().toISOString();
  const lately = ({ ended_at: ended }) => ended && minutesBetween(ended, now) < LATELY;
  const today = treatedToday(ctx);
  return (
    known(ctx).find((each) => each.stage === "handed" && (lately(each) || today.some(({ id }) => id === each.id))) ??
    null
  );
}
