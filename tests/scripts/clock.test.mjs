/* The clock on the patient's wall, against the zone data of Python. */

import assert from "node:assert/strict";
import { test } from "node:test";
import { script, tables } from "./given.mjs";

const clock = await script("clock.js");

for (const [zone, rows] of Object.entries(tables.walls)) {
  test(`a moment stands on the wall of ${zone}, and comes back`, () => {
    for (const [iso, wall, first] of rows) {
      assert.equal(clock.toWall(iso, zone), wall, iso);
      assert.equal(clock.fromWall(wall, zone), first, wall);
    }
  });
}

test("what is no time is no moment", () => {
  assert.equal(clock.fromWall("", "Europe/Lisbon"), null);
  assert.equal(clock.fromWall("2026-13-01T10:00", "Europe/Lisbon"), null);
});

test("figures of a clock are the nearest such moment on the patient's wall, over midnight too", () => {
  const near = (iso, figures, zone = "Europe/Lisbon") => clock.atClock(iso, figures, zone);
  assert.equal(near("2026-03-02T00:20:00.000Z", 2350), "2026-03-01T23:50:00.000Z");
  assert.equal(near("2026-03-01T23:50:00.000Z", 15), "2026-03-02T00:15:00.000Z");
  assert.equal(near("2026-03-01T21:00:00.000Z", 2130, "Asia/Tokyo"), "2026-03-01T12:30:00.000Z");
  assert.deepEqual([near("2026-03-01T21:00:00.000Z", 2460), near("2026-03-01T21:00:00.000Z", 975)], [null, null]);
});

test("minutes between two moments, also over midnight and backwards", () => {
  assert.equal(clock.minutesBetween("2026-03-01T23:50:00Z", "2026-03-02T00:20:30Z"), 30.5);
  assert.equal(clock.minutesBetween("2026-03-02T00:00:00Z", "2026-03-01T22:00:00Z"), -120);
  assert.equal(clock.later("2026-02-28T23:30:00Z", 45), "2026-03-01T00:15:00.000Z");
});
