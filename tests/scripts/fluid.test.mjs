/* Tonight's fluid: the science of the server, evening by evening, and a few worked by hand. */

import assert from "node:assert/strict";
import { test } from "node:test";
import { script, tables } from "./given.mjs";

const fluid = await script("fluid.js");
const { shown } = await script("rounding.js");

test("the plan and its choices are the server's to the last digit shown", () => {
  for (const [evening, expected] of tables.evenings) {
    const plan = fluid.plan(evening);
    const said = plan.why
      ? null
      : [
          shown(plan.litres, 2),
          shown(plan.rate, 1),
          plan.over,
          plan.atMostOver,
          plan.choices.map((each) => [
            each.kind,
            each.minutes,
            shown(each.litres, 2),
            shown(each.left, 2),
            shown(each.rate, 1),
          ]),
        ];
    assert.deepEqual(said, expected, JSON.stringify(evening));
  }
});

test("what came off, and by which way that is known, is what the unit believes", () => {
  for (const [document, litres, by] of tables.taken_off) {
    const found = fluid.takenOff(document);
    assert.deepEqual(
      [found.litres === null ? null : shown(found.litres, 2), found.by],
      [litres, by],
      JSON.stringify(document),
    );
  }
});

test("the fastest between two looks is the unit's, and hides nothing in the mean", () => {
  for (const [document, expected] of tables.fastest) {
    const found = fluid.fastest(document, document.post_weight_kg);
    assert.equal(found && shown(found.rate, 1), expected, JSON.stringify(document));
  }
  const read = (at, uf_volume_l) => ({ at: `2026-03-01T${at}:00.000Z`, uf_volume_l });
  const doc = { started_at: "2026-03-01T20:00:00Z", ended_at: "2026-03-01T23:00:00Z", uf_removed_l: 2.1 };
  const found = fluid.fastest({ ...doc, readings: [read("21:00", 0.7), read("22:00", 0.7)] }, 70);
  assert.ok(Math.abs(found.rate - 20) < 1e-9, "1.4 L in an hour on 70 kg, 10 in the mean");
  assert.deepEqual([found.from, found.to], ["2026-03-01T22:00:00.000Z", "2026-03-01T23:00:00.000Z"]);
});

test("an evening worked by hand: 2.9 L in 240 min at 70 kg is 10.36 mL/kg/h", () => {
  const evening = { pre: 72.4, target: 70, rinse: 0.3, drinks: 0.2, minutes: 240, longest: 300, limit: 10 };
  const plan = fluid.plan(evening);
  assert.ok(Math.abs(plan.litres - 2.9) < 1e-9);
  assert.ok(Math.abs(plan.rate - 10.357) < 0.001);
  // 2900 / (10 × 70) h = 248.6 min, in steps of five 250; 10 × 70 × 4 h = 2.8 L, and 0.1 L stays.
  assert.deepEqual(
    plan.choices.map(({ kind, minutes }) => [kind, minutes]),
    [
      ["longer", 250],
      ["leave_some", 240],
    ],
  );
  assert.deepEqual(
    plan.choices.map(({ litres }) => shown(litres, 2)),
    ["2.90", "2.80"],
  );
  assert.deepEqual([plan.over, plan.atMostOver], [true, false]);
});

test("a volume that cannot be worked out says why", () => {
  const whole = { pre: 72, target: 70, rinse: 0, drinks: 0 };
  assert.deepEqual(fluid.volume({ ...whole, pre: null }), { why: "no_weight" });
  assert.deepEqual(fluid.volume({ ...whole, target: null }), { why: "no_target" });
  assert.deepEqual(fluid.volume({ ...whole, pre: 90 }), { why: "apart" });
  assert.deepEqual(fluid.volume({ ...whole, pre: 69 }), { why: "under" });
  assert.deepEqual(fluid.volume({ ...whole, pre: 19 }), { why: "odd" });
  assert.deepEqual(fluid.volume({ ...whole, drinks: 5.1 }), { why: "odd" });
  assert.deepEqual(fluid.volume(whole), { litres: 2 });
});

test("gain and the weight to expect, by hand", () => {
  assert.deepEqual(fluid.gain({ pre: 72, last: 70, target: 80 }), { kg: 2, percent: 2.5 });
  assert.equal(fluid.gain({ pre: 72, last: null, target: 80 }), null);
  assert.equal(fluid.gain({ pre: 97, last: 80, target: 80 }), null, "over a fifth apart is another body");
  assert.equal(fluid.expectedAfter({ pre: 72, litres: 2.5, rinse: 0.5, drinks: 0.25 }), 70.25);
});

test("what reads as the limit is not over it", () => {
  assert.equal(fluid.overLimit(10.04, 10), false);
  assert.equal(fluid.overLimit(10.06, 10), true);
  assert.equal(fluid.overLimit(8.5, 8.5), false);
  assert.equal(fluid.overLimit(null, 10), false);
  assert.equal(fluid.overLimit(12, null), false);
});
