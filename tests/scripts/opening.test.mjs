/* Who looks next, in the server's very sentences, over weeks of moments and the nights on which clocks change. */

import assert from "node:assert/strict";
import { test } from "node:test";
import { script, tables } from "./given.mjs";

const { looksNext } = await script("opening.js");
const { setUnit, setZone } = await script("words.js");

/** Whether a comma stands after the weekday is for the browser's own English to say: it did until 2023. */
const plain = (words) => words.replace(/(day), (?=\d)/g, "$1 ");

test("the phone says who looks next as the server does", () => {
  for (const { zone, unit, told } of tables.opening) {
    setZone(zone);
    setUnit(unit);
    for (const [iso, words] of told) {
      assert.equal(plain(looksNext({ unit }, new Date(iso))), words, `${zone} ${unit.dates.order} ${iso}`);
    }
  }
});
