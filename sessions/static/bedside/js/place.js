/* Where the patient is: the place in the kit that holds by this phone's day, and whether the phone says otherwise. */

import { toWall } from "./clock.js";
import { clockTold, t } from "./words.js";

/** The place that holds at a moment, the one that began last where several do; null at home. @param {Kit} kit */
export function placeNow({ patient }, now) {
  const there = (patient.places ?? []).filter(({ since, until, zone }) => {
    const day = toWall(now.toISOString(), zone).slice(0, 10);
    return since <= day && (!until || day <= until);
  });
  return there.sort((a, b) => (a.since < b.since ? 1 : -1))[0] ?? null;
}

/**
 * The kit as it holds at this moment: clock and emergency number are those of the place. A kit of last week is right
 * on the day of travel, without a network.
 * @param {Kit} kit @param {Date} now @returns {Kit}
 */
export function asOfNow(kit, now) {
  const place = placeNow(kit, now);
  const zone = place?.zone ?? kit.patient.home_zone ?? kit.patient.zone;
  if (!place && zone === kit.patient.zone) return kit;
  const unit = kit.unit && { ...kit.unit, emergency_number: place?.emergency || kit.unit.emergency_number };
  return { ...kit, patient: { ...kit.patient, zone }, unit };
}

const zoneOfPhone = () => Intl.DateTimeFormat().resolvedOptions().timeZone;

/**
 * Both clocks where this phone's own zone shows another time than the screens; null where they agree.
 * @param {Kit} kit @param {Date} now @param {string} [own] the phone's zone
 */
export function twoClocks(kit, now, own = zoneOfPhone()) {
  if (!own) return null;
  const iso = now.toISOString();
  const [here, screens] = [toWall(iso, own), toWall(iso, kit.patient.zone)];
  if (here === screens) return null;
  const number = kit.unit?.on_call_number ?? "";
  const [clock, shown] = [here, screens].map((wall) => clockTold(wall.slice(11, 16)));
  return { own, here: clock, screens: shown, zone: kit.patient.zone, number };
}

/** What is asked where the clocks differ. */
export const twoClocksWords = (parts) =>
  t(
    "This phone's own clock says {here} ({own}), these screens say {screens} ({zone}). Are you somewhere else? Then " +
      "call the unit on {number} before you begin: it sets the clock and the emergency number of the place.",
    parts,
  );
