/* Numbers of a treatment as the unit declares them. */

import assert from "node:assert/strict";
import { test } from "node:test";
import { script } from "./given.mjs";

const { declaredRows, figureOf } = await script("declared.js");

const KIT = {
  asked: { before: ["top", "low", "glucose"], after: ["warm"] },
  limits: {
    top: { label: "Top pressure", together: "Pressure", pair: "low", unit: "mmHg", decimals: -1 },
    low: { label: "Low pressure", unit: "mmHg", decimals: -1 },
    glucose: { label: "Glucose", unit: "mmol/L", decimals: 1 },
    warm: { label: "Warmth", unit: "°C", decimals: 1 },
  },
};

test("two numbers of one pressure share a row, which is there when one of them is known", () => {
  const rows = (values, which) => declaredRows(KIT, values, ["before", "after"], which);
  assert.deepEqual(rows({ top: 140, low: 80, warm: 36 }), [
    ["Pressure", "140 / 80", "mmHg"],
    ["Warmth", "36.0", "°C"],
  ]);
  assert.deepEqual(rows({ low: 80 }), [["Pressure", "– / 80", "mmHg"]]);
});

test("what is not known has a row only where it always has one; what is shown elsewhere has none", () => {
  const which = { always: ["top"], elsewhere: ["glucose"] };
  assert.deepEqual(declaredRows(KIT, { glucose: 6 }, ["before"], which), [["Pressure", null, "mmHg"]]);
  assert.deepEqual(declaredRows(KIT, {}, ["before", "after"]), []);
});

test("digits are those that are declared: exactly so many, or at most", () => {
  const told = [figureOf({ decimals: 2 }, 1), figureOf({ decimals: -2 }, 1.5), figureOf({ decimals: -2 }, 1.234)];
  assert.deepEqual(told, ["1.00", "1.5", "1.23"]);
  assert.deepEqual([figureOf(undefined, 7.25), figureOf({ decimals: 1 }, null)], ["7.25", "–"]);
});
