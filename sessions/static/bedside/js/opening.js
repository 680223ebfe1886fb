/*
 * Who looks at what is sent, and when: worked out on the phone from the hours in the kit, so that it holds without a
 * network. The same sentences as homedialysis/accounts/opening.py: the unit's clock decides, the patient's is shown.
 */

import { fromWall, later, toWall } from "./clock.js";
import { dayOf, t, timeOf, zoneName } from "./words.js";

const WEEK_AND_A_DAY = 8;

/**
 * The unit's hours of so many days from the day of `iso` on, in order -> [{opens, closes}] as ISO.
 * @param {Unit} unit @param {Iso} iso @param {number} days
 */
function spans({ opening_hours: hours, closed_days: closed = [], time_zone: zone }, iso, days) {
  const first = `${toWall(iso, zone).slice(0, 10)}T12:00:00Z`;
  return [...Array(days + 1).keys()]
    .flatMap((count) => {
      const noon = later(first, count * 24 * 60);
      const at = (clock) => fromWall(`${noon.slice(0, 10)}T${clock}`, zone) ?? "";
      return (closed.includes(noon.slice(0, 10)) ? [] : hours)
        .filter((each) => each.weekday === (new Date(noon).getUTCDay() + 6) % 7)
        .map(({ opens, closes }) => ({ opens: at(opens), closes: at(closes) }));
    })
    .filter(({ opens, closes }) => opens < closes);
}

/** @param {Iso} iso */
function moment(iso, now) {
  const day = (each) => toWall(each, zoneName()).slice(0, 10);
  return day(iso) === day(now) ? timeOf(iso) : t("{day} at {time}", { day: dayOf(iso), time: timeOf(iso) });
}

function who(unit, now) {
  const open = spans(unit, now, 1).find(({ opens, closes }) => opens <= now && now < closes);
  if (open)
    return t("The unit is open until {time}. This is no alarm: nobody watches it all the time.", {
      time: moment(open.closes, now),
    });
  const next = spans(unit, now, WEEK_AND_A_DAY + (unit.closed_days ?? []).length).find(({ opens }) => opens > now);
  if (!next) return t("Nobody is sure to look at this: the unit has set no opening hours.");
  return t("The unit is closed: nobody looks at this until {time}.", { time: moment(next.opens, now) });
}

/** What the patient is told at this moment (Date): who looks and when, and whom to call otherwise. */
export function looksNext({ unit }, now) {
  if (!unit) return t("This is a record, not an alarm: call your unit if you need help.");
  const call = t("If you need help now, call the unit on call: {on_call}. In an emergency call {emergency}.", {
    on_call: unit.on_call_number,
    emergency: unit.emergency_number,
  });
  return `${who(unit, now.toISOString())} ${call}`;
}
