/* Rounding, reading and judging of numbers, against what Python makes of the same. */

import assert from "node:assert/strict";
import { test } from "node:test";
import { script, tables } from "./given.mjs";

const numbers = await script("numbers.js");
const { fmt, hours, t, tn } = await script("words.js");

test("numbers are rounded as on the server's pages", () => {
  for (const [number, digits, text] of tables.rounded)
    assert.equal(numbers.shown(number, digits), text, `${number} to ${digits}`);
});

test("a typed number is read as Python's decimal reads it", () => {
  for (const [text, value] of tables.typed) {
    assert.deepEqual(numbers.parseNumber(text), { number: value }, text);
    assert.deepEqual(numbers.parseNumber(` ${text.replace(".", ",").replace("-", "−")} `), { number: value }, text);
  }
  assert.deepEqual(numbers.parseNumber("  "), {});
  for (const wrong of ["1.2.3", "12a", "1e3", "--4", ".", "1,2,3", "0x10", "١٢"])
    assert.deepEqual(numbers.parseNumber(wrong), { wrong: wrong.trim() }, wrong);
});

test("what is impossible is refused in the server's words, at the very limits", () => {
  for (const [limits, number, words] of tables.refused)
    assert.equal(numbers.refusal(limits, number).replaceAll("−", "-"), words, `${limits.label} ${number}`);
});

test("a question is asked just outside the usual, and not on its ends", () => {
  for (const [limits, number, odd] of tables.odd)
    assert.equal(numbers.oddity(limits, number) !== "", odd, `${limits.label} ${number}`);
});

test("a step stays on its grid, without the dust of binary fractions", () => {
  for (const [number, step, count, to] of tables.stepped)
    assert.equal(numbers.stepped(number, step, count), to, `${number} ${count} × ${step}`);
});

test("a number keeps its figures and takes its unit; what is unknown is a dash", () => {
  assert.deepEqual(
    [fmt(-1.5), fmt(2.675, 2), fmt(null), fmt(Number.NaN), fmt(0, 1)],
    ["−1.5", "2.68", "–", "–", "0.0"],
  );
  assert.deepEqual([fmt(1.1999999999999886), fmt(72.30000000000001), fmt(0.1 + 0.2)], ["1.2", "72.3", "0.3"]);
  assert.deepEqual([numbers.withUnit(3.2, "L"), numbers.withUnit(1.4, "")], ["3.2 L", "1.4"]);
  assert.deepEqual([numbers.decimalsOf(0.05), numbers.decimalsOf(5), numbers.decimalsOf()], [2, 0, 0]);
});

test("minutes are told as hours, words take their numbers", () => {
  assert.deepEqual([0, 9, 60, 245, 1440].map(hours), ["0:00", "0:09", "1:00", "4:05", "24:00"]);
  assert.equal(t("{a} of {b}, {c}", { a: 1, b: 0 }), "1 of 0, {c}");
  assert.deepEqual(
    [0, 1, 2].map((n) => tn("{n} entry", "{n} entries", n)),
    ["0 entries", "1 entry", "2 entries"],
  );
});

test("litres typed as millilitres are offered as litres, and the other way round", () => {
  const saline = { label: "Saline given", unit: "L", hard: [0, 3], usual: [0.05, 0.5] };
  const lost = { label: "Blood lost", unit: "mL", hard: [0, 3000], usual: [0, 400] };
  assert.deepEqual(
    [200, 2, 0.2, 2000].map((number) => numbers.meant(saline, number)),
    [0.2, null, null, null],
  );
  assert.deepEqual(
    [0.2, 0, 200, 2].map((number) => numbers.meant(lost, number)),
    [200, null, null, null],
  );
  assert.match(numbers.oddity(saline, 2), /^2 L is unusual/);
});

test("a dose far from the prescribed one is asked about with what is prescribed, on its ends it is not", async () => {
  const { doseLimits } = await script("heparin.js");
  const amount = { label: "Amount", unit: "", hard: [0, 100000], usual: [0, 20000], apart: 2 };
  const kit = { limits: { "medicines.amount": amount } };
  const asked = (prescribed, given) =>
    numbers.oddity(doseLimits(kit, { name: "heparin", label: "Heparin bolus", unit: "units", prescribed }), given);
  assert.match(asked(2100, 20000), /2100 units/);
  assert.match(asked(2100, 1049), /far from what is prescribed/);
  assert.deepEqual([asked(2100, 4200), asked(2100, 1050), asked(null, 3000)], ["", "", ""]);
});

test("a weight over the one before and a volume under the last are asked about", async () => {
  const { limitsAt, notUnder } = await script("draft.js");
  const limit = (label, more) => ({ label, unit: "kg", hard: [20, 300], usual: [40, 160], ...more });
  const kit = { limits: { pre: limit("Weight before"), post: limit("Weight after", { at_most: "pre" }) } };
  const after = limitsAt(kit, { pre: 72.3 }, "post");
  assert.equal(numbers.oddity(after, 76), "76 kg is more than 72.3 kg (weight before). Is it right?");
  assert.equal(numbers.oddity(after, 72.3), "");
  assert.equal(numbers.oddity(limitsAt(kit, { pre: null }, "post"), 76), "");
  const volume = { label: "UF so far", unit: "L", hard: [0, 10], usual: [0, 4.5], rises: true };
  assert.equal(numbers.oddity(notUnder(volume, 0.7), 0.5), "0.5 L is less than 0.7 L, as read before. Is it right?");
  assert.deepEqual([numbers.oddity(notUnder(volume, 0.7), 0.7), numbers.oddity(notUnder(volume), 0.5)], ["", ""]);
});

test("a rate in mL/kg/h where mL/h is wanted is asked about, and none at all is not", async () => {
  const { readNumber } = await script("paper_sheet.js");
  const [rate] = tables.odd.map(([limits]) => limits).filter(({ label }) => label === "UF rate set");
  const asked = "9.3 mL/h is unusual (uf rate set is usually 50 to 1200 mL/h). Is it right?";
  assert.deepEqual(
    [0, 49, 50, 670].map((each) => Boolean(numbers.oddity(rate, each))),
    [false, true, false, false],
  );
  assert.equal(numbers.oddity(rate, 9.3), asked);
  assert.deepEqual([readNumber(rate, "9.3"), readNumber(rate, "0").ask], [{ value: 9.3, ask: asked }, ""]);
});

test("pounds and Fahrenheit are told and typed, and kilograms and Celsius are kept", async () => {
  const { readNumber } = await script("paper_sheet.js");
  const told = { unit: "lb", factor: 1 / 0.45359237, offset: 0 };
  const weight = { label: "Weight before", unit: "kg", hard: [20, 300], usual: [63, 77], told };
  // 155 lb are 70.307 kg (pound of 1959, 0.45359237 kg); told again they are what was typed.
  assert.deepEqual([numbers.keptOf(weight, 155), numbers.inWords(weight, 70.307)], [70.307, "155 lb"]);
  for (let tenths = 450; tenths < 6600; tenths += 7) {
    const typed = tenths / 10;
    assert.equal(numbers.toldOf(weight, numbers.keptOf(weight, typed)), typed);
  }
  assert.equal(
    numbers.oddity(weight, numbers.keptOf(weight, 180)),
    "180 lb is unusual (weight before is usually 138.9 to 169.8 lb). Is it right?",
  );
  assert.equal(numbers.refusal(weight, 10), "Weight before must be between 44.1 and 661.4 lb; 22 was given.");
  assert.deepEqual(readNumber(weight, "155"), { value: 70.307, ask: "" });
  const heat = { label: "Temperature", unit: "°C", hard: [30, 43], usual: [35.5, 37.8] };
  const warm = { ...heat, told: { unit: "°F", factor: 1.8, offset: 32 } };
  assert.deepEqual([numbers.keptOf(warm, 98.6), numbers.inWords(warm, 37)], [37, "98.6 °F"]);
  assert.match(String(readNumber(warm, "37").wrong), /between 86 and 109.4 °F; 37 was given/);
});
