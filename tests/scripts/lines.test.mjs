/* Nights and what is due, each in one line. */

import assert from "node:assert/strict";
import { test } from "node:test";
import { script } from "./given.mjs";

const { dueWords } = await script("due_words.js");
const { nightWords } = await script("night_row.js");

const KIT = { computed: { uf_volume: { decimals: 2 } }, limits: { post_weight_kg: { decimals: 1, unit: "kg" } } };

test("a night says when it began, so that two of one day are told apart, and has the digits of each number", () => {
  const night = { started_at: "2026-11-30T14:10:00Z", minutes: 134, post_weight_kg: 71, uf_volume: 1.1999999999999886 };
  assert.deepEqual(nightWords(KIT, night), ["14:10", "2:14 h", "71.0 kg", "UF 1.20 L"]);
  const told = { unit: "lb", factor: 1 / 0.45359237, offset: 0 };
  const pounds = { ...KIT, limits: { post_weight_kg: { decimals: 1, unit: "kg", told } } };
  assert.equal(nightWords(pounds, night)[2], "156.5 lb");
});

test("what is overdue is counted and named; what only comes stands behind it", () => {
  const [late, other, coming] = [
    { label: "Endotoxin test", overdue: true },
    { label: "Water culture", overdue: true },
    { label: "Delivery: Dialysers", overdue: false },
  ];
  assert.equal(
    dueWords([late, other, coming]),
    "2 overdue: Endotoxin test, Water culture · coming: Delivery: Dialysers",
  );
  assert.equal(dueWords([coming]), "Delivery: Dialysers");
  assert.equal(dueWords([late]), "1 overdue: Endotoxin test");
});
