/* Every 16-bit float there is, against what Python makes of its bits. */

import assert from "node:assert/strict";
import { test } from "node:test";
import { script, tables } from "./given.mjs";

const layouts = await script("bluetooth/layouts.js");

test("all 65,536 floats of a measurement", () => {
  for (let bits = 0; bits < 65_536; bits += 1) {
    const expected = tables.floats[bits];
    const found = layouts.sfloat(bits);
    if (expected === null) assert.ok(Number.isNaN(found), `${bits}`);
    else assert.ok(Math.abs(found - expected) <= 1e-9 * Math.abs(expected), `${bits}: ${found}, ${expected}`);
  }
});

test("a pressure in mmHg with pulse, by hand: 120/80, mean 93, pulse 61", () => {
  const view = new DataView(Uint8Array.from([4, 120, 0, 80, 0, 93, 0, 61, 0]).buffer);
  const { systolic, diastolic, mean, pulse, doubts } = layouts.bloodPressure(view);
  assert.deepEqual([systolic, diastolic, mean, pulse, doubts], [120, 80, 93, 61, []]);
});

test("a weight in steps of 5 g: 14,480 are 72.4 kg; a scale that could not weigh says nothing", () => {
  assert.equal(layouts.weight(new DataView(Uint8Array.from([0, 0x90, 0x38]).buffer)).weight, 72.4);
  assert.equal(layouts.weight(new DataView(Uint8Array.from([0, 0xff, 0xff]).buffer)).weight, null);
  assert.throws(() => layouts.weight(new DataView(Uint8Array.from([0, 1]).buffer)), RangeError);
});
