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
