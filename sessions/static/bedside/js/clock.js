/* The clock on the patient's wall: fields hold local time of the patient's zone, records hold UTC. */

/** @type {Intl.DateTimeFormatOptions} */
const PARTS = {
  year: "numeric",
  month: "2-digit",
  day: "2-digit",
  hour: "2-digit",
  minute: "2-digit",
  hourCycle: "h23",
};
const makers = new Map();

function wallParts(moment, zone) {
  if (!makers.has(zone)) makers.set(zone, new Intl.DateTimeFormat("en-GB", { ...PARTS, timeZone: zone }));
  return Object.fromEntries(
    makers
      .get(zone)
      .formatToParts(moment)
      .map((part) => [part.type, part.value]),
  );
}

/**
 * A moment -> "2026-03-01T22:10" on the wall of the zone, as a datetime-local field holds it.
 * @param {Iso | number} iso @param {string} zone
 */
export function toWall(iso, zone) {
  const { year, month, day, hour, minute } = wallParts(new Date(iso), zone);
  return `${year}-${month}-${day}T${hour}:${minute}`;
}

/** Wall time of the zone -> ISO time in UTC, or null when it is no time. Where a wall time comes twice, the first. */
export function fromWall(text, zone) {
  const wall = Date.parse(`${text}Z`);
  if (Number.isNaN(wall)) return null;
  const DAY = 24 * 60 * 60 * 1000;
  const offsets = [wall - DAY, wall + DAY].map((moment) => Date.parse(`${toWall(moment, zone)}Z`) - moment);
  const moment = wall - offsets[0];
  const fits = Date.parse(`${toWall(moment, zone)}Z`) === wall;
  return new Date(fits ? moment : wall - offsets[1]).toISOString();
}

/**
 * The moment next to another one at which the wall's clock shows these figures: 2130 is half past nine in the evening.
 * Null of what is no time. @param {Iso} iso @param {number} figures @param {string} zone @returns {Iso | null}
 */
export function atClock(iso, figures, zone) {
  const clock = String(figures).padStart(4, "0").replace(/(..)$/, ":$1");
  const found = [-1440, 0, 1440]
    .map((minutes) => fromWall(`${toWall(later(iso, minutes), zone).slice(0, 10)}T${clock}`, zone))
    .filter((each) => each !== null)
    .sort((one, other) => Math.abs(minutesBetween(iso, one)) - Math.abs(minutesBetween(iso, other)));
  return found[0] ?? null;
}

/** The present minute as ISO time; seconds would only get in the way of correcting it. */
export function nowMinute() {
  const now = new Date();
  now.setUTCSeconds(0, 0);
  return now.toISOString();
}

/** A time as one text, however phone and unit write it. @param {Iso} iso */
export const instant = (iso) => new Date(iso).toISOString();

/** Minutes from one ISO time to another, may be negative. */
export const minutesBetween = (from, to) => (Date.parse(to) - Date.parse(from)) / 60_000;

/** An ISO time some minutes later. @param {Iso} iso */
export const later = (iso, minutes) => new Date(Date.parse(iso) + minutes * 60_000).toISOString();
