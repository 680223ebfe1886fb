/* A paper sheet that is typed in: each number is held against what stands around it, as the pad does on the phone. */

import assert from "node:assert/strict";
import { test } from "node:test";
import { script } from "./given.mjs";

const { askedOf, layOut, sayRight } = await script("paper_sheet.js");
const { lengthDoubt } = await script("paper_doubts.js");
const { askedTwice, blocking } = await script("sum_up.js");
const { setUnit } = await script("words.js");

const plain = (label, unit, hard, usual, more = {}) => ({ label, unit, hard, usual, step: 1, ...more });
const KIT = {
  patient: { zone: "Europe/London" },
  prescription: { minutes: 240, max_minutes: 300, target_weight_kg: 70, anticoagulant: "heparin", bolus_units: 2000 },
  checklist: { version: 1, items: [] },
  ready: {},
  asked: {
    paper: {
      before: ["pre_weight_kg", "pre_systolic", "pre_diastolic"],
      after: ["post_weight_kg"],
      fluid: ["planned_uf_l", "set_uf_l", "rinse_back_l", "uf_removed_l", "blood_lost_ml"],
      readings: ["uf_volume_l"],
      events: ["saline_l"],
      medicines: ["amount"],
      sites: [],
    },
  },
  limits: {
    pre_weight_kg: plain("Weight before", "kg", [20, 300], [63, 77]),
    post_weight_kg: plain("Weight after", "kg", [20, 300], [63, 77], { at_most: "pre_weight_kg" }),
    pre_systolic: plain("Systolic", "mmHg", [30, 300], [90, 200]),
    pre_diastolic: plain("Diastolic", "mmHg", [10, 200], [40, 110]),
    planned_uf_l: plain("Planned", "L", [0, 10], [0, 5]),
    set_uf_l: plain("Set", "L", [0, 10], [0, 5]),
    rinse_back_l: plain("Rinse-back", "L", [0, 2], [0, 0.6]),
    uf_removed_l: plain("Taken off", "L", [0, 10], [0, 5]),
    blood_lost_ml: plain("Blood lost", "mL", [0, 3000], [0, 500]),
    "readings.uf_volume_l": plain("So far", "L", [0, 10], [0, 5], { rises: true }),
    "events.saline_l": plain("Saline", "L", [0, 3], [0, 0.5]),
    "medicines.amount": plain("Amount", "", [0, 100000], [0, 20000], { apart: 2 }),
  },
};
const HEPARIN = { name: "⟦heparin⟧", unit: "⟦units⟧", fixed: true };
const GOOD = {
  started_at: "2230",
  ended_at: "0230",
  pre_weight_kg: "72.4",
  post_weight_kg: "70.1",
  planned_uf_l: "2.7",
  rinse_back_l: "0.3",
  uf_removed_l: "2.6",
};

/** The sheet laid out -> the night. */
function sheet(more = {}) {
  const typed = { ...GOOD, checks: {}, sites: [], medicines: [], readings: [], events: [], ...more };
  const night = { doc: {}, plan: { paper: { day: "2026-03-01", sure: {}, typed } } };
  layOut(night, KIT);
  return night;
}
const asked = (more) => askedTwice(sheet(more)).map(({ path }) => path);

test("a sheet in which one number fits the other asks nothing", () => {
  assert.deepEqual(asked(), []);
});

/** By hand: weights and rinse-back make 72.4 - 70.1 + 0.3 = 2.6 L; up to the target 72.4 - 70 + 0.3 = 2.7 L. */
const SLIPS = [
  [{ uf_removed_l: "0.26" }, ["uf_removed_l"]],
  [{ uf_removed_l: "3.09" }, []],
  [{ uf_removed_l: "3.1" }, ["uf_removed_l"]],
  [{ events: [{ at: "", kind: "cramp", saline_l: "0.4" }] }, []],
  [{ uf_removed_l: "3.1", events: [{ at: "", kind: "cramp", saline_l: "0.4" }] }, []],
  [{ planned_uf_l: "0.27" }, ["planned_uf_l"]],
  [{ set_uf_l: "3.2" }, ["set_uf_l"]],
  [{ post_weight_kg: "72.9", uf_removed_l: "0" }, ["post_weight_kg"]],
  [{ blood_lost_ml: "0.3" }, ["blood_lost_ml"]],
  [{ ended_at: "0130" }, ["ended_at"]],
  [{ ended_at: "0206" }, []],
  [{ ended_at: "0330" }, []],
  [{ ended_at: "0331" }, ["ended_at"]],
  [{ medicines: [{ ...HEPARIN, amount: "20000" }] }, ["medicines[0].amount"]],
  [{ medicines: [{ ...HEPARIN, amount: "2500" }] }, []],
  [
    {
      readings: [
        { at: "2330", uf_volume_l: "0.9" },
        { at: "0030", uf_volume_l: "0.8" },
      ],
    },
    ["readings[1].uf_volume_l"],
  ],
];

for (const [more, paths] of SLIPS)
  test(`${JSON.stringify(more)} asks of ${paths.join() || "nothing"}`, () => assert.deepEqual(asked(more), paths));

test("a pressure upside down cannot stand", () => {
  const { plan } = sheet({ pre_systolic: "84", pre_diastolic: "120" });
  assert.ok(blocking({ doc: GOOD, plan }).some((words) => words.includes("must be below the systolic")));
});

test("what is said to be right holds for exactly what was asked", () => {
  const night = sheet({ uf_removed_l: "3.4" });
  assert.match(askedOf(night, "uf_removed_l"), /3\.4 L.*2\.6 L/);
  sayRight(night, KIT, "uf_removed_l");
  assert.deepEqual([askedTwice(night).length, night.doc.confirmed], [0, ["uf_removed_l"]]);
  night.plan.paper.typed.post_weight_kg = "70.4";
  layOut(night, KIT);
  assert.match(askedOf(night, "uf_removed_l"), /2\.3 L/);
  assert.deepEqual(night.doc.confirmed, []);
});

test("without a prescription no length is doubted", () => {
  assert.equal(lengthDoubt({ prescription: null }, 30), "");
});

/** Europe/London in March: UTC. */
const CLOCKS = {
  24: [
    ["2130", "2026-03-01T21:30:00.000Z"],
    ["9.05", "2026-03-01T09:05:00.000Z"],
    ["9:30 PM", "2026-03-01T21:30:00.000Z"],
    ["12:15am", "2026-03-01T00:15:00.000Z"],
    ["10 p.m.", "2026-03-01T22:00:00.000Z"],
    ["21", "21 is no time of day. Write it as in 21:30."],
    ["13 PM", "13 PM is no time of day. Write it as in 21:30."],
    ["24:00", "24:00 is no time of day. Write it as in 21:30."],
  ],
  12: [
    ["9:30", "9:30: AM or PM?"],
    ["1230", "1230: AM or PM?"],
    ["9:30 pm", "2026-03-01T21:30:00.000Z"],
    ["21:30", "2026-03-01T21:30:00.000Z"],
    ["00:15", "2026-03-01T00:15:00.000Z"],
    ["25:00", "25:00 is no time of day. Write it as in 9:30 PM."],
  ],
};

for (const [clock, rows] of Object.entries(CLOCKS))
  test(`a time of day is taken as people of a clock of ${clock} hours write it`, () => {
    setUnit({ dates: { order: "dmy", clock } });
    for (const [text, told] of rows) {
      const { doc, plan } = sheet({ started_at: text });
      assert.deepEqual([doc.started_at ?? plan.paper.wrong[0]], [told], text);
    }
    setUnit({ dates: { order: "dmy", clock: "24" } });
  });

test("a line just before the clock time of the start is of the next day, not of the day after that", () => {
  const { doc } = sheet({ started_at: "2315", readings: [{ at: "2310", uf_volume_l: "0.9" }] });
  assert.equal(doc.readings[0].at, "2026-03-02T23:10:00.000Z");
});
