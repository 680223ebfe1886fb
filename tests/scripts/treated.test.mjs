/* Which treatment is today's: worked by hand on the patient's wall clock, by the rule of the unit for its nights. */

import assert from "node:assert/strict";
import { test } from "node:test";
import { script } from "./given.mjs";

const { dayServed, doneAlready, treatedToday } = await script("treated.js");

const ZONE = "Europe/Lisbon"; // in March the wall shows UTC
const night = (id, started, ended, more = {}) => ({
  id,
  stage: ended ? "handed" : "running",
  practice: false,
  mistaken: false,
  doc: { started_at: started, ended_at: ended },
  ...more,
});
const ctx = (now, { nights = [], open = [], history = [] } = {}) => ({
  nights,
  kit: { patient: { zone: ZONE }, open, history },
  now: () => new Date(now),
});
const ids = (found) => found.map(({ id }) => id);

test("an evening lasts until three hours after midnight", () => {
  const days = ["2026-03-01T23:50:00Z", "2026-03-02T02:59:00Z", "2026-03-02T03:00:00Z"].map((iso) =>
    dayServed(iso, ZONE),
  );
  assert.deepEqual(days, ["2026-03-01", "2026-03-01", "2026-03-02"]);
  assert.equal(dayServed("2026-03-02T06:30:00Z", "America/St_Johns"), "2026-03-02", "three in the night there");
});

test("today's are those of this phone and of the unit, each once; practice and mistakes are none", () => {
  const nights = [
    night("mine", "2026-03-01T08:00:00Z", "2026-03-01T12:00:00Z"),
    night("tried", "2026-03-01T07:00:00Z", "2026-03-01T07:10:00Z", { practice: true }),
    night("wrong", "2026-03-01T07:00:00Z", null, { mistaken: true }),
    night("before", "2026-02-28T20:00:00Z", "2026-03-01T00:00:00Z"),
  ];
  const open = [{ id: "theirs", started_at: "2026-03-01T09:00:00Z", ended_at: null, status: "open" }];
  const history = [
    { id: "mine", started_at: "2026-03-01T08:00:00Z", minutes: 240 },
    { id: "elsewhere", started_at: "2026-03-01T05:00:00Z", minutes: 120 },
  ];
  const found = treatedToday(ctx("2026-03-01T20:00:00Z", { nights, open, history }));
  assert.deepEqual(ids(found), ["theirs", "mine", "elsewhere"]);
  assert.deepEqual(
    found.map(({ stage }) => stage),
    ["running", "handed", "handed"],
  );
});

test("what was handed over today, or ended lately, is told before another begins", () => {
  const long = night("long", "2026-03-01T21:00:00Z", "2026-03-02T05:00:00Z");
  assert.equal(doneAlready(ctx("2026-03-02T06:00:00Z", { nights: [long] }))?.id, "long", "an hour after its end");
  assert.equal(doneAlready(ctx("2026-03-02T13:00:00Z", { nights: [long] })), null, "eight hours after, a new day");
  const short = night("short", "2026-03-01T04:00:00Z", "2026-03-01T08:00:00Z");
  assert.equal(doneAlready(ctx("2026-03-01T21:00:00Z", { nights: [short] }))?.id, "short", "the same day");
  const ended = night("ended", "2026-03-01T04:00:00Z", "2026-03-01T08:00:00Z", { stage: "after" });
  assert.equal(doneAlready(ctx("2026-03-01T21:00:00Z", { nights: [ended] })), null, "not handed over yet");
});
