/* The night and the document made of it: thousands of made-up evenings, each with what must hold whatever was done. */

import assert from "node:assert/strict";
import { test } from "node:test";
import { chance, script } from "./given.mjs";

const draft = await script("draft.js");

const KIT = {
  patient: { id: "11111111-1111-4111-8111-111111111111" },
  account: { id: 1 },
  numbers: ["pre_weight_kg", "post_weight_kg"],
  prescription: { version: 3 },
};
const LIMITS = { label: "Venous pressure", unit: "mmHg", hard: [-100, 600], usual: [0, 250], step: 5 };
const fresh = () => draft.newNight(KIT, "22222222-2222-4222-8222-222222222222");
const minute = (n) => new Date(Date.UTC(2026, 2, 1, 18, n)).toISOString();

/** One deed by chance: a reading comes, goes, is moved or gets another number. */
function deed(night, dice) {
  const rows = night.doc.readings;
  const index = rows.length && dice.below(rows.length);
  const kind = rows.length ? dice.pick(["add", "add", "remove", "move", "change"]) : "add";
  if (kind === "remove") return draft.removeRow(night, "readings", index);
  if (kind === "move") {
    rows[index].at = minute(dice.below(300));
    return draft.reorder(night, "readings");
  }
  const row = kind === "add" ? draft.addReading(night, { at: minute(dice.below(300)) }) : index;
  draft.takeNumber(night, `readings[${row}].venous_mmhg`, dice.pick([100, 200, 300, 400]), LIMITS);
}

test("a confirmation stays with its row, whatever comes, goes or is moved", () => {
  const dice = chance(1);
  for (let evening = 0; evening < 1000; evening += 1) {
    const night = fresh();
    for (let act = 0; act < 12; act += 1) deed(night, dice);
    const times = night.doc.readings.map((row) => Date.parse(row.at));
    assert.deepEqual(
      times,
      [...times].sort((one, other) => one - other),
      "in order of time",
    );
    const unusual = night.doc.readings.flatMap((row, index) =>
      row.venous_mmhg > 250 ? [`readings[${index}].venous_mmhg`] : [],
    );
    assert.deepEqual([...night.doc.confirmed].sort(), unusual.sort(), "exactly the unusual ones are confirmed");
  }
});

test("readings of one moment get moments of their own", () => {
  const night = fresh();
  for (let count = 0; count < 50; count += 1) draft.addReading(night, { at: minute(7) });
  assert.equal(new Set(night.doc.readings.map((row) => row.at)).size, 50);
});

test("all steps back give the evening as it was, all forward as it became", () => {
  const dice = chance(2);
  const face = ({ doc, plan, stamps, acks, stage }) => JSON.stringify([doc, plan, stamps, acks, stage]);
  for (let evening = 0; evening < 500; evening += 1) {
    const night = fresh();
    const faces = [face(night)];
    const steps = 1 + dice.below(30);
    for (let step = 0; step < steps; step += 1) {
      const before = draft.snapshot(night);
      const acts = [
        () => draft.setPath(night, "pre_weight_kg", 70 + step),
        () => draft.addReading(night, { at: minute(dice.below(300)), venous_mmhg: step }),
        () => draft.addEvent(night, { kind: "cramp", at: minute(dice.below(300)) }),
        () => draft.stampStep(night, `step_${step}`, "Words", minute(step)),
        () => Object.assign(night, { stage: dice.pick(["running", "after"]), plan: { kind: `${step}` } }),
      ];
      dice.pick(acts)();
      assert.ok(draft.noteStep(night, before, `${step}`));
      faces.push(face(night));
    }
    for (let step = steps; step > 0; step -= 1) {
      assert.equal(draft.undoStep(night), `${step - 1}`);
      assert.equal(face(night), faces[step - 1]);
    }
    assert.equal(draft.undoStep(night), "", "no step is left");
    for (let step = 1; step <= steps; step += 1) {
      draft.redoStep(night);
      assert.equal(face(night), faces[step]);
    }
    assert.equal(draft.redoStep(night), "");
  }
});

test("a new deed takes the way forward away; the oldest of many steps are forgotten", () => {
  const night = fresh();
  const set = (weight) => {
    const before = draft.snapshot(night);
    draft.setPath(night, "pre_weight_kg", weight);
    return draft.noteStep(night, before, `${weight}`);
  };
  assert.deepEqual([set(70), set(70), set(71)], [true, false, true], "nothing changed is no step");
  draft.undoStep(night);
  set(72);
  assert.equal(draft.redoStep(night), "");
  for (let weight = 100; weight < 200; weight += 1) set(weight);
  let back = 0;
  while (draft.undoStep(night)) back += 1;
  assert.equal(back, 60);
});

test("what is half answered stays here; paths of what is sent and of the night fit each other", () => {
  const dice = chance(3);
  for (let evening = 0; evening < 1000; evening += 1) {
    const night = fresh();
    night.doc.sites = Array.from({ length: dice.below(6) }, (_, index) => ({
      site: dice.next() < 0.5 ? null : index,
      use: "arterial",
      bleeding_minutes: 10 + index,
    }));
    night.doc.confirmed = night.doc.sites.map((_, index) => `sites[${index}].bleeding_minutes`);
    const sent = draft.documentOf(night, "open");
    assert.deepEqual(
      sent.sites.map((row) => row.bleeding_minutes),
      night.doc.sites.filter((row) => row.site !== null).map((row) => row.bleeding_minutes),
    );
    assert.equal(sent.confirmed.length, sent.sites.length);
    for (const path of sent.confirmed) {
      const there = draft.getPath({ doc: sent }, path);
      assert.equal(draft.getPath(night, draft.pathInNight(night, path)), there);
    }
  }
});

test("a night that goes on with the unit's document has nothing unsent, until something is written", () => {
  const document = {
    ...draft.documentOf(fresh(), "open"),
    id: "33333333-3333-4333-8333-333333333333",
    revision: 4,
    started_at: "2026-03-01T19:00:00Z",
    received_at: "2026-03-01T19:01:00Z",
    night: "2026-03-01",
    marks: [],
  };
  const night = draft.draftFrom(document, KIT);
  assert.deepEqual(
    [night.stage, night.revision, night.correcting, draft.hasUnsent(night)],
    ["running", 4, false, false],
  );
  assert.ok(draft.sameRecord(document, draft.documentOf(night, "open")));
  draft.setPath(night, "pre_weight_kg", 72.5);
  assert.ok(draft.hasUnsent(night));
});

/** A night that the unit has, as it was begun here; and the unit's document of it with what another phone wrote. */
function shared() {
  const night = fresh();
  draft.setFields(night, { started_at: minute(0) });
  night.stage = "running";
  draft.nameRows(night);
  night.sent = JSON.stringify(draft.documentOf(night, "open"));
  night.revision = 1;
  const theirs = (changes) => ({
    ...JSON.parse(night.sent),
    id: night.id,
    revision: 2,
    received_at: minute(20),
    entered_by: { id: 2, name: "Rui" },
    ...changes,
  });
  return { night, theirs };
}
const HEPARIN = { id: "h", at: minute(10), name: "heparin", amount: 1500, unit: "IU", note: "" };

test("what another phone wrote comes in beside one's own, with who wrote it", () => {
  const { night, theirs } = shared();
  draft.addReading(night, { at: minute(12), venous_mmhg: 120 });
  assert.ok(draft.joinTheirs(night, theirs({ medicines: [HEPARIN] })));
  assert.deepEqual(
    [night.doc.medicines, night.doc.readings.length, night.revision, night.questions],
    [[HEPARIN], 1, 2, []],
  );
  assert.deepEqual(night.others, { h: { id: 2, name: "Rui" } });
  assert.ok(draft.hasUnsent(night), "the own reading has still to go");
});

test("undoing an own step takes nothing of the other phone away", () => {
  const { night, theirs } = shared();
  const before = draft.snapshot(night);
  draft.addRow(night, "medicines", { at: minute(3), name: "iron", amount: 50, unit: "mg", note: "" });
  draft.nameRows(night);
  assert.ok(draft.noteStep(night, before, "Iron"));
  draft.joinTheirs(night, theirs({ medicines: [HEPARIN] }));
  assert.equal(night.doc.medicines.length, 2);
  assert.equal(draft.undoStep(night), "Iron");
  assert.deepEqual(night.doc.medicines, [HEPARIN]);
  assert.equal(draft.redoStep(night), "Iron");
  assert.deepEqual(
    night.doc.medicines.map((row) => row.name),
    ["iron", "heparin"],
  );
});

test("ended on another phone is ended here; handed over there is handed over here", () => {
  const { night, theirs } = shared();
  draft.joinTheirs(night, theirs({ ended_at: minute(200) }));
  assert.deepEqual([night.stage, draft.hasUnsent(night)], ["after", false]);
  draft.joinTheirs(night, theirs({ ended_at: minute(200), status: "finished", revision: 3 }));
  assert.deepEqual([night.stage, Boolean(night.delivered), draft.hasUnsent(night)], ["handed", true, false]);
  draft.addEvent(night, { kind: "cramp", at: minute(100) });
  assert.ok(draft.hasUnsent(night), "what is written here afterwards still goes");
});

test("a field that both wrote is asked once, and is no question once both say the same", () => {
  const { night, theirs } = shared();
  draft.setPath(night, "pre_weight_kg", 72.5);
  draft.joinTheirs(night, theirs({ pre_weight_kg: 73 }));
  assert.equal(night.doc.pre_weight_kg, 73, "the unit's stands meanwhile");
  const [question] = draft.openQuestions(night);
  assert.deepEqual([question.field, question.mine, question.by.name], ["pre_weight_kg", 72.5, "Rui"]);
  draft.joinTheirs(night, theirs({ pre_weight_kg: 73, notes: "more", revision: 3 }));
  assert.equal(draft.openQuestions(night).length, 1);
  night.doc.pre_weight_kg = 72.5;
  assert.deepEqual(draft.openQuestions(night), []);
});

test("a night kept by an earlier release is brought up, and its two versions are put together", () => {
  const { night, theirs } = shared();
  draft.addReading(night, { at: minute(12), venous_mmhg: 120 });
  const old = { ...night, conflict: theirs({ medicines: [HEPARIN] }) };
  for (const name of ["trouble", "questions", "heard", "others"]) delete old[name];
  draft.bringUp(old);
  assert.deepEqual([old.doc.medicines, old.doc.readings.length, "conflict" in old], [[HEPARIN], 1, false]);
});

test("one moment written in two ways, an empty text and a missing one are no difference", () => {
  const mine = { status: "open", started_at: "2026-03-01T21:00:00Z", notes: "", checks: [], pre_weight_kg: null };
  assert.ok(draft.sameRecord(mine, { status: "open", started_at: "2026-03-01T22:00:00+01:00", revision: 3 }));
  assert.ok(!draft.sameRecord(mine, { status: "finished", started_at: "2026-03-01T21:00:00Z" }));
});

test("a path is written where nothing is yet: lists and rows are made on the way", () => {
  const night = fresh();
  draft.setPath(night, "extras[1].parts[0].name", "x");
  assert.equal(draft.getPath(night, "extras[1].parts[0].name"), "x");
  assert.ok(Array.isArray(night.doc.extras) && Array.isArray(night.doc.extras[1].parts));
  assert.equal(draft.getPath(night, "extras[0].parts[0].name"), undefined);
});
