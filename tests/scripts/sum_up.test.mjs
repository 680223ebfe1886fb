/* A night looked over before it goes, and how it lies to those before. */

import assert from "node:assert/strict";
import { test } from "node:test";
import { script, tables } from "./given.mjs";

const { againstBefore, blocking, figures, middle, missing, spread, unusual } = await script("sum_up.js");
const { endsOf } = await script("trend_pictures.js");
const { dropWithoutFigure, wentOtherwise } = await script("went_otherwise.js");
const { isReasoned, nothingUnusual, passOver } = await script("weighed.js");
const { checkOf, holds, inside, stopsHeld, withAnswer } = await script("check_rows.js");

const doc = (more = {}) => ({
  started_at: "2026-03-01T20:00:00Z",
  ended_at: "2026-03-02T00:00:00Z",
  readings: [],
  events: [],
  checks: [],
  sites: [],
  medicines: [],
  confirmed: [],
  dialyser_look: "clear",
  disinfected: true,
  ...more,
});
const KIT = {
  prescription: { minutes: 240, target_weight_kg: 70, uf_rate_limit_ml_kg_h: 10 },
  limits: { pulse: { label: "Pulse", unit: "/min", hard: [20, 250], usual: [45, 120] } },
  checklist: { items: [] },
  event_kinds: { cramp: "Cramp" },
};

test("the middle of any numbers is Python's median", () => {
  for (const [values, median] of tables.medians) assert.equal(middle(values), median, `${values}`);
  assert.equal(middle([]), null);
});

test("lowest, middle and highest of the last ten nights that know it", () => {
  const history = [5, null, 1, 2, 3, 4, 6, 7, 8, 9, 1000].map((value) => ({ value }));
  assert.deepEqual(spread(history, "value"), { nights: 9, low: 1, middle: 5, high: 9 });
  assert.equal(spread([{ value: null }], "value"), null);
});

test("a night by hand: 2.4 L in 4 h at 70.5 kg is 8.51 mL/kg/h", () => {
  const one = doc({ pre_weight_kg: 72.9, post_weight_kg: 70.5, uf_removed_l: 2.4, rinse_back_l: 0.3, intake_l: 0.2 });
  one.readings = [{ at: "2026-03-01T21:00:00Z", systolic: 96 }];
  const { minutes, litres, rate, off, expected, gained, lowest } = figures({ doc: one }, KIT, 70.9);
  assert.deepEqual([minutes, litres, lowest], [240, 2.4, 96]);
  assert.ok(Math.abs(rate - 8.511) < 0.001 && Math.abs(off - 0.5) < 1e-9 && Math.abs(expected - 71) < 1e-9);
  assert.ok(Math.abs(gained.kg - 2) < 1e-9 && Math.abs(gained.percent - 100 / 35) < 1e-9);
});

test("a pressure noted with a drop counts for the lowest of the night", () => {
  const drop = { at: "2026-03-01T22:00:00Z", kind: "hypotension", systolic: 84, diastolic: 46 };
  const { lowest } = figures({ doc: doc({ pre_systolic: 150, post_systolic: 148, events: [drop] }) }, KIT);
  assert.equal(lowest, 84);
});

test("without machine's total a late reading's volume counts, an early one never; no weight, no rate", () => {
  const read = (at) => figures({ doc: doc({ readings: [{ at, uf_volume_l: 2.1 }] }) }, KIT);
  const { litres, rate, expected, lowest } = read("2026-03-01T23:36:00Z");
  assert.deepEqual([litres, rate, expected, lowest], [2.1, null, null, null]);
  const early = read("2026-03-01T23:35:00Z");
  assert.deepEqual([early.litres, early.by, early.read.litres], [null, "", 2.1]);
});

test("the weights come before a reading, with what came in: rinse-back, drinks and saline", () => {
  const weighed = { pre_weight_kg: 72, post_weight_kg: 70.5, rinse_back_l: 0.3, intake_l: 0.2 };
  const events = [{ kind: "hypotension", saline_l: 0.2 }];
  const readings = [{ at: "2026-03-01T20:12:00Z", uf_volume_l: 0.1 }];
  const { litres, by } = figures({ doc: doc({ ...weighed, events, readings }) }, KIT);
  assert.equal(by, "weights");
  assert.ok(Math.abs(litres - 2.2) < 1e-9);
});

test("saline and pressure of an event are told with it", () => {
  const usual = [0, 1000];
  const limits = {
    "events.saline_l": { unit: "L", decimals: -2, usual },
    "events.systolic": { unit: "mmHg", usual },
    "events.diastolic": { unit: "mmHg", usual },
  };
  const kit = { ...KIT, limits, event_kinds: { hypotension: "Low pressure" } };
  const events = [{ kind: "hypotension", systolic: 84, diastolic: 46, saline_l: 0.2 }];
  assert.deepEqual(unusual({ doc: doc({ events }) }, kit), ["Low pressure, 84/46 mmHg, saline given 0.2 L"]);
});

test("a night without an end, or that ends before it starts, cannot go", () => {
  assert.equal(blocking({ doc: doc(), plan: {} }).length, 0);
  assert.equal(blocking({ doc: doc({ ended_at: null }), plan: {} }).length, 1);
  assert.equal(blocking({ doc: doc({ ended_at: "2026-03-01T20:00:00Z" }), plan: {} }).length, 1);
  assert.deepEqual(blocking({ doc: doc(), plan: { paper: { wrong: ["A cell."] } } }), ["A cell."]);
});

test("a rate over the limit, a short night and a strange weight are looked at twice; one on the limit is not", () => {
  const whole = { pre_weight_kg: 73, post_weight_kg: 70, rinse_back_l: 0, intake_l: 0 };
  const said = (more) => unusual({ doc: doc({ ...whole, ...more }) }, KIT);
  assert.deepEqual(
    said({ uf_removed_l: 2.8 }).filter((words) => words.includes("over the limit")),
    [],
  );
  assert.equal(said({ uf_removed_l: 2.9 }).filter((words) => words.includes("over the limit")).length, 1);
  assert.equal(said({ uf_removed_l: 3.5 }).filter((words) => words.startsWith("The weight after")).length, 1);
  const short = said({ uf_removed_l: 2, ended_at: "2026-03-01T23:35:00Z" });
  assert.equal(short.filter((words) => words.includes("instead of")).length, 1);
  assert.equal(said({ ended_at: "2026-03-01T23:36:00Z" }).filter((words) => words.includes("instead of")).length, 0);
  assert.ok(said({ events: [{ kind: "cramp" }] }).includes("Cramp"));
  assert.equal(said({ pulse: 130 }).filter((words) => words.startsWith("Pulse")).length, 1);
  assert.equal(said({ pulse: 120 }).filter((words) => words.startsWith("Pulse")).length, 0);
});

test("what was set otherwise than prescribed is told beside it, and only that", () => {
  const warmth = { label: "Temperature set", unit: "°C", hard: [20, 45], usual: [34.5, 38], ordered: "temperature_c" };
  const said = (ordered, set) =>
    unusual(
      { doc: doc({ set_temperature_c: set }) },
      { ...KIT, prescription: { ...KIT.prescription, temperature_c: ordered }, limits: { set_temperature_c: warmth } },
    );
  assert.deepEqual(said(36.5, 35.8), ["Temperature set: 35.8 °C, prescribed 36.5 °C"]);
  assert.deepEqual([said(36.5, 36.5), said(36.5, null), said(undefined, 35.8)], [[], [], []]);
});

test("fluid that came off faster after a stop is told with its times and the limit, and looked at twice", () => {
  const readings = [
    { at: "2026-03-01T21:00:00Z", uf_volume_l: 0.7 },
    { at: "2026-03-01T23:00:00Z", uf_volume_l: 0.7 },
  ];
  const whole = { pre_weight_kg: 72.1, post_weight_kg: 70, rinse_back_l: 0, intake_l: 0, uf_removed_l: 2.1 };
  const { rate, fastest } = figures({ doc: doc({ ...whole, readings }) }, KIT);
  assert.deepEqual([rate.toFixed(1), fastest.rate.toFixed(1)], ["7.5", "20.0"]);
  const words = "UF rate 20.0 mL/kg/h from 23:00 to 00:00, over the limit of 10";
  assert.deepEqual(unusual({ doc: doc({ ...whole, readings }) }, KIT), [words]);
  assert.equal(figures({ doc: doc(whole) }, KIT).fastest, null, "the total alone says no more than the mean");
});

test("what is not known is named; a catheter has no needles to miss", () => {
  const open = missing({ doc: doc() }, { ...KIT, run_sheet: { technique: "rope_ladder" } });
  const catheter = missing({ doc: doc() }, { ...KIT, run_sheet: { technique: "catheter" } });
  assert.deepEqual(
    open.filter((words) => !catheter.includes(words)),
    ["Needle sites"],
  );
});

test("beyond each of the nights before only where the shown figure differs too", () => {
  const before = { nights: 5, low: 8.04, middle: 9, high: 10.04 };
  assert.match(againstBefore(10.049, before, 1), /^as in the last/);
  assert.match(againstBefore(10.06, before, 1), /^higher than/);
  assert.match(againstBefore(7.9, before, 1), /^lower than/);
  assert.match(againstBefore(9, { ...before, nights: 2 }, 1), /^before: 8.0 to 10.0/);
  assert.equal(againstBefore(null, before, 1), "");
});

test("an axis is never shorter than a tenth of its greatest value", () => {
  const rounded = (values) => endsOf(values).map((each) => Number(each.toFixed(3)));
  assert.deepEqual(rounded([2.96, 2.98]), [2.821, 3.119]);
  assert.deepEqual(rounded([-150, -148]), [-156.5, -141.5]);
  assert.deepEqual(rounded([100, 150]), [96, 154], "room above and below, and no more");
  assert.deepEqual(rounded([0]), [-0.5, 0.5]);
});

test("a check lies inside on its limits and outside just beyond; an open side has no end", () => {
  assert.deepEqual(
    [13.5, 14.5, 13.49, 14.51].map((value) => inside({ limit_low: 13.5, limit_high: 14.5 }, value)),
    [true, true, false, false],
  );
  assert.ok(inside({ limit_low: null, limit_high: 0.1 }, -5) && !inside({ limit_high: 0.1 }, 0.2));
  const row = checkOf(
    { key: "chlorine", words: "Chlorine", part: "setup", unit: "mg/L" },
    { passed: true, value: 0.05 },
  );
  assert.deepEqual(
    [row.key, row.unit, row.passed, row.value, row.overruled, row.reason],
    ["chlorine", "mg/L", true, 0.05, false, ""],
  );
});

test("of a stop, and of what was measured, both answers stay; any other answer takes the place of the one before", () => {
  const answered = (item, ...answers) =>
    answers.reduce((rows, answer) => withAnswer(rows, item, checkOf({ name: item.key, ...item }, answer)), []);
  const [chlorine, hands] = [{ key: "chlorine", stop: true, asks_value: true }, { key: "hands" }];
  const values = (rows) => rows.map((row) => [row.value, row.passed]);
  const twice = answered(chlorine, { value: 0.2, passed: false }, { value: 0.08, passed: true });
  assert.deepEqual(values(twice), [
    [0.2, false],
    [0.08, true],
  ]);
  const worse = answered(chlorine, { value: 0.08, passed: true }, { value: 0.2, passed: false });
  assert.deepEqual(values(worse), [
    [0.08, true],
    [0.2, false],
  ]);
  assert.deepEqual(values(answered(hands, { passed: false }, { passed: true })), [[null, true]]);
  const kit = { checklist: { items: [chlorine] } };
  assert.equal(stopsHeld(kit, { doc: { checks: twice } }).length, 0);
  assert.equal(stopsHeld(kit, { doc: { checks: worse } }).length, 1);
});

test("a reason lifts a check, never a stop", () => {
  const row = { key: "any", passed: false, overruled: true };
  assert.equal(holds(row, { key: "any" }), false);
  assert.equal(holds(row, { key: "any", stop: true }), true);
});

test("what happened is told by name; a low pressure without a figure leaves the lowest open", () => {
  const kit = { ...KIT, limits: {}, event_kinds: { hypotension: "Low pressure", needle_out: "Needle out" } };
  const events = [
    { kind: "needle_out", at: "2026-03-01T22:00:00Z" },
    { kind: "hypotension", at: "2026-03-01T22:30:00Z" },
  ];
  assert.deepEqual(wentOtherwise(kit, doc({ events, blood_return: "none" })), [
    "22:00 Needle out",
    "22:30 Low pressure",
    "Blood in the lines: Not given back",
  ]);
  const measured = (at) => dropWithoutFigure(doc({ events, readings: [{ at, systolic: 126 }] }));
  assert.deepEqual([measured("2026-03-01T22:40:00Z"), measured("2026-03-01T22:41:00Z")], [false, true]);
});

test("what is unusual before is passed over with a reason, which holds for exactly that", () => {
  const night = { doc: doc(), plan: {} };
  assert.equal(isReasoned(night, ["80/45"]), false);
  passOver(night, ["80/45"], "⟦unit_said_so⟧", "2026-03-01T19:50:00Z");
  passOver(night, ["80/45", "38.7"], "⟦unit_said_so⟧", "2026-03-01T19:55:00Z");
  assert.deepEqual([isReasoned(night, ["80/45"]), isReasoned(night, ["80/45", "38.7"])], [false, true]);
  const kept = night.doc.checks.map((row) => [row.key, row.part, row.passed, row.overruled, row.reason]);
  assert.deepEqual(kept, [["weighed", "setup", false, true, "⟦unit_said_so⟧"]]);
  nothingUnusual(night);
  assert.deepEqual([night.doc.checks, isReasoned(night, ["80/45", "38.7"])], [[], false]);
});
