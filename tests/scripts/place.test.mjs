/* Where the patient is: the place of the day, its clock and number, and what the phone asks where its clock differs. */

import assert from "node:assert/strict";
import { test } from "node:test";
import { script } from "./given.mjs";

const { asOfNow, placeNow, twoClocks, twoClocksWords } = await script("place.js");

const away = { name: "Auckland", since: "2026-11-30", until: "2026-12-02", zone: "Pacific/Auckland", emergency: "111" };
const KIT = {
  unit: {
    name: "Unit",
    emergency_number: "911",
    on_call_number: "303",
    time_zone: "America/Denver",
    opening_hours: [],
  },
  patient: { id: "1", name: "A", zone: "America/Denver", home_zone: "America/Denver", places: [away] },
};

test("a place holds from its first day to its last, on its own clock, and is taken without a network", () => {
  // 30 November begins in Auckland at 11:00 UTC of the 29th (UTC+13 in its summer), and 2 December ends at 11:00 UTC.
  const at = (iso) => placeNow(KIT, new Date(iso))?.name ?? null;
  assert.deepEqual(
    ["2026-11-29T10:59:00Z", "2026-11-29T11:00:00Z", "2026-12-02T10:59:00Z", "2026-12-02T11:00:00Z"].map(at),
    [null, "Auckland", "Auckland", null],
  );
  const there = asOfNow(KIT, new Date("2026-12-01T00:00:00Z"));
  assert.deepEqual([there.patient.zone, there.unit?.emergency_number], ["Pacific/Auckland", "111"]);
  const back = asOfNow(there, new Date("2026-12-05T00:00:00Z"));
  assert.equal(back.patient.zone, "America/Denver");
});

test("of two places the one that began last holds, and one without a number has the unit's", () => {
  const second = { ...away, name: "Hut", since: "2026-12-01", until: null, emergency: "" };
  const kit = { ...KIT, patient: { ...KIT.patient, places: [second, away] } };
  const now = new Date("2026-12-01T12:00:00Z");
  assert.equal(placeNow(kit, now)?.name, "Hut");
  assert.equal(asOfNow(kit, now).unit?.emergency_number, "911");
});

test("a phone whose own clock differs asks with both clocks; two zones with one clock do not", () => {
  const now = new Date("2026-11-29T22:58:00Z");
  const clocks = twoClocks(KIT, now, "Pacific/Auckland");
  assert.deepEqual(clocks, {
    own: "Pacific/Auckland",
    here: "11:58",
    screens: "15:58",
    zone: "America/Denver",
    number: "303",
  });
  assert.match(twoClocksWords(clocks), /clock says 11:58 \(Pacific\/Auckland\), these screens say 15:58/);
  assert.equal(twoClocks(KIT, now, "America/Boise"), null);
  assert.equal(twoClocks(KIT, now, ""), null);
});
