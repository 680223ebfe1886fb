/* Two phones on one night: whatever each wrote, nothing is lost, and it does not matter who comes first. */

import assert from "node:assert/strict";
import { test } from "node:test";
import { chance, script } from "./given.mjs";

const { merge, same, withIds, LISTS } = await script("merge.js");

const EVENINGS = 1500;
const minute = (n) => new Date(Date.UTC(2026, 2, 1, 18, n)).toISOString();
const asTheUnitWritesIt = (iso) => iso.replace(".000Z", "+00:00");
const copy = (value) => structuredClone(value);

function empty() {
  const lists = Object.fromEntries(LISTS.map((list) => [list, []]));
  return { started_at: minute(0), ended_at: null, notes: "", pre_weight_kg: null, ...lists, confirmed: [] };
}

const MAKE = {
  readings: (dice) => ({ at: minute(dice.below(200)), venous_mmhg: dice.below(300), systolic: null }),
  events: (dice) => ({ at: minute(dice.below(200)), kind: dice.pick(["cramp", "dizzy"]), note: "" }),
  medicines: (dice) => ({
    at: minute(dice.below(200)),
    name: dice.pick(["heparin", "iron"]),
    amount: dice.below(3000),
  }),
  checks: (dice) => ({ key: dice.pick(["chlorine", "hands"]), name: "A check", passed: dice.below(2) > 0, at: null }),
  steps: (dice) => ({ at: minute(dice.below(200)), key: dice.pick(["prime", "tape"]), words: "Words" }),
};
const WRITTEN = { readings: "venous_mmhg", events: "note", medicines: "amount", checks: "note", steps: "words" };
const PLAIN = ["notes", "pre_weight_kg"];
let made = 0;

/** One deed of one person, written down in `log`. */
function deed(doc, who, dice, log) {
  const list = dice.pick(Object.keys(MAKE));
  const rows = doc[list];
  const kind = dice.pick(["add", "add", "change", "remove", "plain"]);
  if (kind === "plain") {
    const name = dice.pick(PLAIN);
    doc[name] = name === "notes" ? `${who} ${made++}` : made++;
    log.plain.set(name, doc[name]);
  } else if (kind === "add" || !rows.length) {
    const row = { id: `${who}${made++}`, ...MAKE[list](dice) };
    rows.push(row);
    log.added.set(row.id, [list, row]);
  } else if (kind === "change") {
    const row = dice.pick(rows);
    row[WRITTEN[list]] = list === "events" || list === "steps" || list === "checks" ? `${who} ${made++}` : made++;
    log.changed.set(row.id, [list, WRITTEN[list], row[WRITTEN[list]]]);
  } else {
    const [row] = rows.splice(dice.below(rows.length), 1);
    for (const part of [log.added, log.changed]) part.delete(row.id);
    log.removed.set(row.id, list);
  }
}

const fresh = () => ({ added: new Map(), changed: new Map(), removed: new Map(), plain: new Map() });

/** A night that both had, and what each made of it. */
function evening(dice, deeds = 8) {
  const base = empty();
  for (let count = 0; count < 6; count += 1) deed(base, "base", dice, fresh());
  const sides = ["a", "b"].map((who) => {
    const [doc, log] = [copy(base), fresh()];
    for (let count = 0; count < deeds; count += 1) deed(doc, who, dice, log);
    return { doc, log };
  });
  return { base, sides };
}

const rowIn = (doc, list, id) => doc[list].find((row) => row.id === id);
const rest = ({ at, ...row }) => row;

test("what anybody added is there, with all that was written in it", () => {
  const dice = chance(11);
  for (let count = 0; count < EVENINGS; count += 1) {
    const { base, sides } = evening(dice);
    const { doc } = merge([base], sides[0].doc, sides[1].doc);
    for (const { log } of sides)
      for (const [id, [list, row]] of log.added) {
        const found = rowIn(doc, list, id);
        assert.ok(found, `${list} ${id}`);
        assert.deepEqual(rest(found), rest(row));
        const moved = Date.parse(found.at) - Date.parse(row.at);
        assert.ok(list === "readings" ? moved >= 0 && moved < 60_000 : found.at === row.at, "only readings move apart");
      }
    const times = doc.readings.map((row) => row.at);
    assert.equal(new Set(times).size, times.length, "no two readings of one second");
    assert.deepEqual(times, [...times].sort());
  }
});

test("a row goes only where somebody took it out and nobody else wrote on it", () => {
  const dice = chance(12);
  let [gone, kept] = [0, 0];
  for (let count = 0; count < EVENINGS; count += 1) {
    const { base, sides } = evening(dice);
    const { doc } = merge([base], sides[0].doc, sides[1].doc);
    for (const list of LISTS)
      for (const row of base[list]) {
        const takenOut = sides.filter(({ log }) => log.removed.has(row.id)).length;
        const writtenOn = sides.some(({ log }) => log.changed.has(row.id));
        const stays = takenOut === 0 || (takenOut === 1 && writtenOn);
        assert.equal(Boolean(rowIn(doc, list, row.id)), stays);
        if (stays) kept += 1;
        else gone += 1;
      }
  }
  assert.ok(gone > 100 && kept > 100, "both were seen");
});

test("only a field that both changed asks, and both values are there", () => {
  const dice = chance(13);
  let asked = 0;
  for (let count = 0; count < EVENINGS; count += 1) {
    const { base, sides } = evening(dice);
    const [mine, theirs] = sides;
    const { doc, questions } = merge([base], mine.doc, theirs.doc);
    const expected = [];
    for (const name of PLAIN) {
      const [own, other] = [mine, theirs].map(({ log }) => log.plain.get(name));
      if (own !== undefined && other !== undefined) expected.push([name, own, other]);
      else assert.equal(doc[name], own ?? other ?? base[name], "what one side changed holds");
    }
    for (const [id, [list, name, own]] of mine.log.changed) {
      const other = theirs.log.changed.get(id);
      if (other) expected.push([id, own, other[2]]);
      else if (rowIn(doc, list, id)) assert.equal(rowIn(doc, list, id)[name], own);
    }
    const found = questions.map(({ list, id, field, mine: own }) => [
      id || field,
      own,
      list ? rowIn(doc, list, id)[field] : doc[field],
    ]);
    assert.deepEqual(found.sort(), expected.sort(), "the question has the one value, the document the other");
    asked += expected.length;
  }
  assert.ok(asked > 200);
});

test("it does not matter who comes first, whatever is not asked", () => {
  const dice = chance(14);
  for (let count = 0; count < EVENINGS; count += 1) {
    const { base, sides } = evening(dice);
    const [one, other] = [merge([base], sides[0].doc, sides[1].doc), merge([base], sides[1].doc, sides[0].doc)];
    const names = ({ questions }) => questions.map(({ list, id, field }) => `${list} ${id} ${field}`).sort();
    assert.deepEqual(names(one), names(other));
    for (const { list, id, field } of one.questions)
      for (const { doc } of [one, other]) (list ? rowIn(doc, list, id) : doc)[field] = "asked";
    assert.deepEqual(other.doc, one.doc);
  }
});

test("three phones come to the same rows by any way, and what was heard twice changes nothing", () => {
  const dice = chance(15);
  for (let count = 0; count < 500; count += 1) {
    const base = empty();
    for (let deeds = 0; deeds < 4; deeds += 1) deed(base, "base", dice, fresh());
    const docs = ["a", "b", "c"].map((who) => {
      const doc = copy(base);
      for (let deeds = 0; deeds < 4; deeds += 1) deed(doc, who, dice, fresh());
      return doc;
    });
    const rows = (doc) => LISTS.map((list) => doc[list].map((row) => row.id).sort());
    const by = (order) => {
      let unit = docs[order[0]];
      for (const each of order.slice(1)) unit = merge([base], docs[each], unit).doc;
      return unit;
    };
    const ways = [
      [0, 1, 2],
      [2, 1, 0],
      [1, 2, 0],
    ].map((order) => rows(by(order)));
    assert.deepEqual(ways[1], ways[0]);
    assert.deepEqual(ways[2], ways[0]);
    const unit = by([0, 1]);
    const again = merge([unit], unit, unit);
    assert.deepEqual([again.questions, rows(again.doc)], [[], rows(unit)]);
  }
});

test("whoever changed nothing takes the other's, in whatever form the unit writes it", () => {
  const dice = chance(16);
  for (let count = 0; count < 300; count += 1) {
    const { base, sides } = evening(dice);
    const unit = JSON.parse(JSON.stringify(sides[1].doc), (_, value) =>
      typeof value === "string" && value.endsWith(".000Z") ? asTheUnitWritesIt(value) : value,
    );
    const { doc, questions } = merge([base], copy(base), unit);
    assert.deepEqual(questions, []);
    for (const list of LISTS)
      assert.deepEqual(new Set(doc[list].map((row) => row.id)), new Set(unit[list].map((row) => row.id)));
    assert.ok(same(doc.notes, unit.notes));
  }
});

test("an own attempt whose answer was lost is no other person", () => {
  const base = empty();
  const attempt = {
    ...copy(base),
    notes: "first",
    medicines: [{ id: "m", at: minute(3), name: "heparin", amount: 1 }],
  };
  const mine = { ...copy(attempt), notes: "second", medicines: [{ ...attempt.medicines[0], amount: 2 }] };
  const theirs = { ...copy(attempt), events: [{ id: "e", at: minute(9), kind: "cramp", note: "" }] };
  const { doc, questions } = merge([base, attempt], mine, theirs);
  assert.deepEqual(questions, []);
  assert.deepEqual([doc.notes, doc.medicines[0].amount, doc.events.length], ["second", 2, 1]);
  const emptied = merge([base, attempt], { ...mine, medicines: [] }, theirs);
  assert.deepEqual(emptied.doc.medicines, [], "what was taken out since stays out");
});

test("an attempt that never came in loses nothing", () => {
  const dice = chance(17);
  for (let count = 0; count < EVENINGS; count += 1) {
    const { base, sides } = evening(dice);
    const [mine, theirs] = sides;
    const attempts = [copy(mine.doc), copy(base)];
    const one = merge([base, ...attempts], mine.doc, theirs.doc);
    for (const [id, [list]] of mine.log.added) assert.ok(rowIn(one.doc, list, id), `${list} ${id}`);
    const rows = ({ doc }) => LISTS.map((list) => doc[list].map((row) => row.id).sort());
    assert.deepEqual(rows(one), rows(merge([base], mine.doc, theirs.doc)));
    const fresh = merge([{}, copy(mine.doc)], mine.doc, theirs.doc);
    for (const [id, [list]] of mine.log.added) assert.ok(rowIn(fresh.doc, list, id), `never answered: ${list} ${id}`);
  }
});

test("heparin of one phone and heparin of the other both stand", () => {
  const base = empty();
  const dose = (id, at) => ({ id, at: minute(at), name: "heparin", amount: 1500, unit: "IU", note: "" });
  const { doc, questions } = merge(
    [base],
    { ...base, medicines: [dose("x", 5)] },
    { ...base, medicines: [dose("y", 4)] },
  );
  assert.deepEqual([doc.medicines.map((row) => row.id), questions], [["y", "x"], []]);
});

test("one needle site and one thing in stock stay one row, whoever wrote of it first", () => {
  const base = empty();
  const mine = { ...base, sites: [{ id: "x", site: 3, use: "venous", gauge: 15, pain: null }] };
  const theirs = { ...base, sites: [{ id: "y", site: 3, use: "venous", gauge: null, pain: 2 }] };
  for (const [one, other] of [
    [mine, theirs],
    [theirs, mine],
  ]) {
    const { doc, questions } = merge([base], one, other);
    assert.deepEqual([doc.sites, questions], [[{ id: "x", site: 3, use: "venous", gauge: 15, pain: 2 }], []]);
  }
});

test("what was confirmed stays with its row, and goes where one side took it back", () => {
  const reading = (id, at, value) => ({ id, at: minute(at), venous_mmhg: value });
  const base = { ...empty(), readings: [reading("k", 60, 400)], confirmed: ["readings[0].venous_mmhg"] };
  const mine = copy(base);
  mine.readings.unshift(reading("a", 10, 390));
  mine.confirmed = ["readings[0].venous_mmhg", "readings[1].venous_mmhg", "pre_weight_kg"];
  const theirs = copy(base);
  theirs.readings.push(reading("b", 70, 120));
  assert.deepEqual(merge([base], mine, theirs).doc.confirmed.sort(), [
    "pre_weight_kg",
    "readings[0].venous_mmhg",
    "readings[1].venous_mmhg",
  ]);
  const back = { ...copy(theirs), confirmed: [] };
  assert.deepEqual(merge([base], mine, back).doc.confirmed.sort(), ["pre_weight_kg", "readings[0].venous_mmhg"]);
});

test("rows without an id get one that every phone would give them", () => {
  const rows = [
    { at: minute(1), kind: "cramp" },
    { at: minute(1), kind: "cramp" },
    { at: minute(2), kind: "dizzy" },
  ];
  const ours = withIds("events", rows).map((row) => row.id);
  const units = withIds(
    "events",
    rows.map((row) => ({ ...row, at: asTheUnitWritesIt(row.at) })),
  ).map((row) => row.id);
  assert.deepEqual(ours, units);
  assert.equal(new Set(ours).size, 3);
});
