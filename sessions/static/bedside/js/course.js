/* How far a running treatment has come. Pure: the time of day comes in as an argument. */

import { fromWall, later, minutesBetween, toWall } from "./clock.js";

/** Hours of sleep on the patient's own clock, as the unit words them (sessions/services/prescription_lines.py). */
export const SLEEP = { from: 22, to: 6 };
export const MISSED = "reading_missed";
/** When the first reading comes, as the unit words it [min]. */
export const BASELINE_AFTER = 10;

/** @param {Iso} iso */
const minutesFrom = (iso, now) => Math.floor(minutesBetween(iso, now.toISOString()));
const byTime = (one, other) => (one.at < other.at ? -1 : 1);

/** A moment (Date) as ISO time without its seconds: they would only get in the way of correcting it. */
export const minuteOf = (moment) => new Date(Math.floor(moment.getTime() / 60_000) * 60_000).toISOString();

/** Whether the patient is meant to be left asleep at this moment (ISO). @param {Kit} kit @param {Iso} iso */
function asleep(kit, iso) {
  if (!kit.prescription?.quiet_at_night) return false;
  const hour = Number(toWall(iso, kit.patient.zone).slice(11, 13));
  return hour >= SLEEP.from || hour < SLEEP.to;
}

/** The same moment, or the end of the sleep into which it falls. @param {Kit} kit @param {Iso} iso */
function awakeAgain(kit, iso) {
  if (!asleep(kit, iso)) return iso;
  const { zone } = kit.patient;
  const evening = Number(toWall(iso, zone).slice(11, 13)) >= SLEEP.from;
  const day = toWall(evening ? later(iso, 12 * 60) : iso, zone).slice(0, 10);
  return fromWall(`${day}T${String(SLEEP.to).padStart(2, "0")}:00`, zone);
}

/**
 * When a treatment that never ran began: with its first needle, and before it ends (ISO).
 * @param {Pick<Night, "doc">} night @param {Date} now
 */
export function beganAt({ doc }, now) {
  const end = minuteOf(now);
  const before = later(end, -1);
  const needles = doc.sites.map((row) => row.at).filter(Boolean);
  return doc.started_at ?? [...needles, before].sort().find((iso) => iso < end) ?? before;
}

/** The minutes this treatment is meant to last, or null when nothing says so. @param {Night} night @param {Kit} kit */
const plannedMinutes = (night, kit) => night.doc.planned_minutes ?? kit.prescription?.minutes ?? null;

/** @param {Night} night @param {Kit} kit */
const endOf = (night, kit) => {
  const planned = plannedMinutes(night, kit);
  return night.doc.started_at && planned ? later(night.doc.started_at, planned) : null;
};

/** The last reading, or the start or the one noted as missed that stand for it (ISO). */
const lastLook = ({ doc }) => {
  const missed = (doc.steps ?? []).filter((step) => step.key === MISSED);
  return [doc.started_at, ...[...(doc.readings ?? []), ...missed].map((row) => row.at).filter(Boolean)].sort().at(-1);
};

/**
 * The interval after the last reading, moved out of the hours of sleep (ISO); null: not started, or no interval. Before
 * the first reading it is that of the beginning, which every night has: what is seen later is held against it.
 * @param {Night} night @param {Kit} kit
 */
function intervalOver(night, kit) {
  const { started_at: started } = night.doc;
  if (started && lastLook(night) === started) return later(started, BASELINE_AFTER);
  const every = kit.prescription?.reading_interval_minutes;
  return night.doc.started_at && every ? awakeAgain(kit, later(lastLook(night), every)) : null;
}

/**
 * When the next reading is due before the planned end (ISO), never in the hours of sleep; null where none is.
 * @param {Night} night @param {Kit} kit
 */
export function readingDue(night, kit) {
  const [due, end] = [intervalOver(night, kit), endOf(night, kit)];
  return end && due && due >= end ? null : due;
}

/**
 * {minutes, planned, left, endsAt, due, late (minutes past due, 0 when not), over (the planned time has passed), stale
 * (over, and the last reading is older than the interval: since when, ISO), asleep}. Past the planned end nothing is
 * due: what matters then is whether it goes on.
 * @param {Night} night @param {Kit} kit
 */
export function course(night, kit, now) {
  const { started_at: started } = night.doc;
  const [planned, endsAt, iso] = [plannedMinutes(night, kit), endOf(night, kit), now.toISOString()];
  const minutes = started ? Math.max(0, minutesFrom(started, now)) : 0;
  const over = endsAt !== null && minutesFrom(endsAt, now) >= 0;
  const due = over ? null : readingDue(night, kit);
  const late = due ? Math.max(0, minutesFrom(due, now)) : 0;
  const next = over ? intervalOver(night, kit) : null;
  const stale = next && minutesFrom(next, now) >= 0 ? lastLook(night) : null;
  return {
    minutes,
    planned,
    left: planned == null ? null : planned - minutes,
    endsAt,
    due,
    late,
    over,
    stale,
    asleep: asleep(kit, iso),
  };
}

/**
 * Minutes until a moment in which an event kept the fluid removal off; while it lasts it counts.
 * @param {Night} night
 */
function pausedMinutes({ doc }, now) {
  const until = now.toISOString();
  const spans = (doc.events ?? [])
    .filter((event) => event.paused_at)
    .map((event) => [event.paused_at, event.resumed_at ?? doc.ended_at ?? until].map((iso) => Date.parse(iso)))
    .sort(([one], [other]) => one - other);
  let [paused, last] = [0, 0];
  for (const [from, to] of spans) {
    paused += Math.max(0, to - Math.max(from, last));
    last = Math.max(last, to);
  }
  return paused / 60_000;
}

/**
 * Fluid so far: {now (L, from the last reading that has it), at, plan (L), byClock (L)}; null for what is unknown.
 * @param {Night} night @param {Kit} kit
 */
export function fluidSoFar(night, kit, now) {
  const { doc } = night;
  const last = [...(doc.readings ?? [])]
    .filter((row) => row.uf_volume_l != null)
    .sort(byTime)
    .at(-1);
  const plan = doc.planned_uf_l ?? null;
  const { minutes, planned } = course(night, kit, now);
  const ran = Math.max(0, minutes - pausedMinutes(night, now));
  const byClock = plan != null && planned ? plan * Math.min(1, ran / planned) : null;
  return { now: last?.uf_volume_l ?? null, at: last?.at ?? null, plan, byClock };
}

/** The last value of each number before a moment: {name: {value, at}}. Corrections later in time do not count. */
export function lastValues(readings, before) {
  const found = {};
  const earlier = [...(readings ?? [])].filter((row) => row.at && row.at < before).sort(byTime);
  for (const row of earlier) {
    for (const [name, value] of Object.entries(row)) if (typeof value === "number") found[name] = { value, at: row.at };
  }
  return found;
}
