/* How far a running night has come: worked by hand on the patient's wall clock, and what must hold on any night. */

import assert from "node:assert/strict";
import { test } from "node:test";
import { chance, script, tables } from "./given.mjs";

const { BASELINE_AFTER, beganAt, course, fluidSoFar, lastValues, minuteOf, MISSED, readingDue, SLEEP } =
  await script("course.js");
const { later, minutesBetween, toWall } = await script("clock.js");

const ZONE = "Europe/Lisbon"; // in March the wall shows UTC
const kit = (more = {}) => ({
  patient: { zone: ZONE },
  prescription: { minutes: 240, reading_interval_minutes: 60, quiet_at_night: false, ...more },
});
const night = (doc = {}) => ({
  doc: { started_at: "2026-03-01T19:00:00.000Z", readings: [], steps: [], planned_minutes: null, ...doc },
});
const at = (clock, day = "01") => new Date(`2026-03-${day}T${clock}:00Z`);

test("what never ran began with its first needle, or a minute before it ended", () => {
  const of = (doc) => beganAt({ doc: { started_at: null, sites: [], ...doc } }, at("21:30"));
  assert.equal(of({}), "2026-03-01T21:29:00.000Z");
  const needles = [{ at: "2026-03-01T21:12:00.000Z" }, { at: null }, { at: "2026-03-01T21:05:00.000Z" }];
  assert.equal(of({ sites: needles }), "2026-03-01T21:05:00.000Z");
  assert.equal(of({ sites: [{ at: "2026-03-01T21:30:10.000Z" }] }), "2026-03-01T21:29:00.000Z");
  assert.equal(of({ started_at: "2026-03-01T20:00:00Z", sites: needles }), "2026-03-01T20:00:00Z");
});

test("readings come when the unit's own words of the prescription say", () => {
  assert.deepEqual({ sleep: [SLEEP.from, SLEEP.to], first: BASELINE_AFTER }, tables.readings);
});

test("ten minutes after the start the first reading is due, and late from then on; the next an interval later", () => {
  const { minutes, left, endsAt, due, late, over } = course(night(), kit(), at("19:22"));
  assert.deepEqual([minutes, left, late, over], [22, 218, 12, false]);
  assert.deepEqual([due, endsAt], ["2026-03-01T19:10:00.000Z", "2026-03-01T23:00:00.000Z"]);
  const readings = [{ at: "2026-03-01T19:11:00.000Z" }];
  const next = course(night({ readings }), kit(), at("20:23"));
  assert.deepEqual([next.due, next.late], ["2026-03-01T20:11:00.000Z", 12]);
});

test("a night that asks for no readings has its first one too", () => {
  assert.equal(readingDue(night(), kit({ reading_interval_minutes: null })), "2026-03-01T19:10:00.000Z");
  const readings = [{ at: "2026-03-01T19:11:00.000Z" }];
  assert.equal(readingDue(night({ readings }), kit({ reading_interval_minutes: null })), null);
});

test("a reading moves the next one; one noted as missed does so too", () => {
  const readings = [{ at: "2026-03-01T20:05:00.000Z" }];
  assert.equal(readingDue(night({ readings }), kit()), "2026-03-01T21:05:00.000Z");
  const steps = [
    { key: MISSED, at: "2026-03-01T21:10:00.000Z" },
    { key: "other", at: "2026-03-01T22:00:00.000Z" },
  ];
  assert.equal(readingDue(night({ readings, steps }), kit()), "2026-03-01T22:10:00.000Z");
});

test("past the planned end nothing is due; it is stale an interval after the last look", () => {
  const readings = [{ at: "2026-03-01T22:30:00.000Z" }];
  const early = course(night({ readings }), kit(), at("23:10"));
  assert.deepEqual([early.over, early.due, early.stale, early.left], [true, null, null, -10]);
  const later_ = course(night({ readings }), kit(), at("23:30"));
  assert.equal(later_.stale, "2026-03-01T22:30:00.000Z");
  assert.equal(readingDue(night({ readings }), kit()), null, "the next would fall after the end");
});

test("where sleep is meant, a reading that falls between 22 and 6 waits until 6", () => {
  const long = kit({ quiet_at_night: true, minutes: 660 });
  const doc = { readings: [{ at: "2026-03-01T21:30:00.000Z" }] };
  assert.equal(readingDue(night(doc), long), null, "the treatment ends at 6 itself");
  assert.equal(readingDue(night(doc), kit({ quiet_at_night: true, minutes: 720 })), "2026-03-02T06:00:00.000Z");
  assert.equal(course(night(doc), long, at("22:00")).asleep, true);
  assert.equal(course(night(doc), long, at("21:59")).asleep, false);
  assert.equal(course(night(doc), long, at("06:00", "02")).asleep, false);
});

test("in the night on which clocks go forward, 6 on the wall is an hour sooner", () => {
  const doc = { started_at: "2026-03-28T20:00:00.000Z", readings: [{ at: "2026-03-28T21:30:00.000Z" }] };
  const due = readingDue(night(doc), kit({ quiet_at_night: true, minutes: 720 }));
  assert.equal(due, "2026-03-29T05:00:00.000Z");
});

test("before the start, or without a plan, nothing is made up", () => {
  const none = course(night({ started_at: null }), kit(), at("20:00"));
  assert.deepEqual([none.minutes, none.endsAt, none.due, none.over], [0, null, null, false]);
  const bare = course(night(), { patient: { zone: ZONE }, prescription: null }, at("20:00"));
  assert.deepEqual([bare.planned, bare.left], [null, null]);
  assert.equal(course(night({ planned_minutes: 300 }), kit(), at("20:00")).left, 240, "the night's own plan wins");
});

test("on any night: what is due lies after the last look, before the end, and never in the hours of sleep", () => {
  const dice = chance(20260301);
  let due_ = 0;
  for (let count = 0; count < 5000; count += 1) {
    const started = later("2026-01-01T00:00:00Z", dice.below(525_600));
    const plan = kit({
      minutes: 120 + 5 * dice.below(100),
      reading_interval_minutes: dice.pick([15, 30, 60, 120]),
      quiet_at_night: dice.next() < 0.7,
    });
    const readings = Array.from({ length: dice.below(4) }, () => ({ at: later(started, dice.below(400)) }));
    const one = night({ started_at: started, readings });
    const due = readingDue(one, plan);
    const looks = [started, ...readings.map((row) => row.at)].sort();
    const now = new Date(later(started, dice.below(700)));
    const { minutes, left, over, asleep } = course(one, plan, now);
    assert.equal(left, plan.prescription.minutes - minutes);
    assert.equal(over, now.toISOString() >= later(started, plan.prescription.minutes));
    const hour = (iso) => Number(toWall(iso, ZONE).slice(11, 13));
    const sleeps = (iso) => plan.prescription.quiet_at_night && (hour(iso) >= 22 || hour(iso) < 6);
    assert.equal(asleep, sleeps(now.toISOString()));
    if (due === null) continue;
    due_ += 1;
    assert.ok(due < later(started, plan.prescription.minutes));
    const waited = minutesBetween(looks.at(-1), due);
    if (looks.at(-1) === started) {
      assert.equal(waited, 10, "the first one, asleep or not");
      continue;
    }
    assert.ok(!sleeps(due), due);
    assert.ok(waited >= plan.prescription.reading_interval_minutes);
    if (waited > plan.prescription.reading_interval_minutes) assert.equal(hour(due), 6, "it waited for the morning");
  }
  assert.ok(due_ > 1000, `${due_} nights had one due`);
});

test("fluid so far is the last reading that says it, and by the clock the plan's share, never more than the plan", () => {
  const readings = [
    { at: "2026-03-01T21:00:00.000Z", uf_volume_l: 1.4 },
    { at: "2026-03-01T20:00:00.000Z", uf_volume_l: 0.7 },
    { at: "2026-03-01T21:30:00.000Z", uf_volume_l: null },
  ];
  const one = night({ readings, planned_uf_l: 2.4 });
  const { now, at: when, byClock } = fluidSoFar(one, kit(), at("21:00"));
  assert.deepEqual([now, when, byClock], [1.4, "2026-03-01T21:00:00.000Z", 1.2]);
  assert.equal(fluidSoFar(one, kit(), at("23:59")).byClock, 2.4);
  assert.deepEqual(fluidSoFar(night(), kit(), at("21:00")), { now: null, at: null, plan: null, byClock: null });
});

test("the last value of each number before a moment; what came later does not count", () => {
  const readings = [
    { at: "2026-03-01T21:00:00Z", venous_mmhg: 150, pulse: null },
    { at: "2026-03-01T20:00:00Z", venous_mmhg: 140, pulse: 70 },
    { at: "2026-03-01T22:00:00Z", venous_mmhg: 190 },
  ];
  assert.deepEqual(lastValues(readings, "2026-03-01T21:30:00Z"), {
    venous_mmhg: { value: 150, at: "2026-03-01T21:00:00Z" },
    pulse: { value: 70, at: "2026-03-01T20:00:00Z" },
  });
});

test("a moment loses its seconds, never gains any", () => {
  assert.equal(minuteOf(new Date("2026-03-01T20:00:59.999Z")), "2026-03-01T20:00:00.000Z");
});
