/* Where an event stands on its way: which event an address means, and times that never contradict each other. */

import assert from "node:assert/strict";
import { test } from "node:test";
import { chance, script } from "./given.mjs";

const draft = await script("draft.js");
const flows = await script("flow_state.js");
const { placeOfField } = await script("fields.js");
const { gapsOf, stepsOff } = await script("sheet_steps.js");

const steps = (kind) => [{ key: "first", stamp: `${kind}_first`, answers: [] }];
const KIT = {
  patient: { id: "11111111-1111-4111-8111-111111111111" },
  account: { id: 1 },
  numbers: [],
  flows: { hypotension: steps("hypotension"), infiltration: steps("infiltration") },
};
const at = (minute, second = 0) => new Date(Date.UTC(2026, 10, 30, 14, minute, second)).toISOString();
const fresh = () => draft.newNight(KIT, "22222222-2222-4222-8222-222222222222");
const ctxOf = (night, iso) => ({ kit: KIT, night, now: () => new Date(iso) });
const inOrder = (event) => {
  const times = [event.at, event.paused_at, event.resumed_at, event.ended_at].filter(Boolean).map(Date.parse);
  return times.every((time, index) => !index || times[index - 1] <= time);
};

test("a drop in the same minute as another event has its own way, whatever their order", () => {
  for (const [second, drop] of [
    [15, at(29)],
    [15, at(29, 40)],
    [15, at(29, 15)],
  ]) {
    const night = fresh();
    draft.addEvent(night, { kind: "infiltration", at: at(29, second) });
    const found = flows.begin(ctxOf(night, at(29, 40)), night, "hypotension", drop);
    assert.equal(found.kind, "hypotension");
    assert.equal(night.doc.events[flows.indexAt(night, flows.addressOf(found))], found);
  }
});

test("two events of one kind in one second have two addresses", () => {
  const night = fresh();
  for (let count = 0; count < 2; count += 1) draft.addEvent(night, { kind: "air", at: at(29) });
  const [one, other] = night.doc.events.map((event) => flows.indexAt(night, flows.addressOf(event)));
  assert.deepEqual([one, other], [0, 1]);
});

test("the newest pressure is also one that was noted with trouble", () => {
  const readings = [
    { at: at(10), systolic: 130, diastolic: 80 },
    { at: at(40), systolic: null },
  ];
  const events = [{ at: at(30), kind: "hypotension", systolic: 84, diastolic: 46 }];
  assert.equal(flows.lastPressure({ readings, events }).systolic, 84);
  assert.equal(flows.lastPressure({ readings: [...readings, { at: at(50), systolic: 110 }], events }).systolic, 110);
  assert.equal(flows.lastPressure({ readings: [], events: [] }), undefined);
});

test("another phone knows from the record at which step trouble stands, whatever was done before it", () => {
  const night = fresh();
  const way = ["look", "uf_off", "flat"].map((key) => ({ key, stamp: `hypotension_${key}`, answers: [] }));
  const event = { id: "a", kind: "hypotension", at: at(29), outcome: "" };
  const where = () => flows.standOf(night, event, way).step;
  draft.stampStep(night, "hypotension_uf_off", "Of an earlier drop.", at(5));
  assert.equal(where(), "look");
  draft.stampStep(night, "hypotension_look", "Looked.", at(30));
  assert.equal(where(), "uf_off");
  draft.stampStep(night, "hypotension_flat", "Lay down.", at(31));
  assert.equal(where(), "flat"); // the last step has no step after it
  event.outcome = "went_on";
  assert.equal(where(), flows.OVER);
});

test("another phone goes where the answer led, and a call that nobody took ends nothing", () => {
  const night = fresh();
  const reply = (code, to, ...does) => Object.fromEntries(Object.entries({ code, does }).concat([["then", to]]));
  const answers = [reply("unit_new_lines", "lines", "unit"), reply("unit_not_reached", "blood", "not_reached")];
  const way = [
    { key: "call", stamp: "clotting_call", answers },
    { key: "lines", stamp: "clotting_lines", answers: [] },
    { key: "blood", stamp: "clotting_blood", answers: [reply("blood_none", "over", "ended")] },
  ];
  draft.addEvent(night, { kind: "clotting", at: at(29) });
  flows.write(night, 0, answers[1].does, at(30));
  draft.stampStep(night, "clotting_call", "Call the unit on call: go on or end.: ⟦unit_not_reached⟧", at(30));
  const [event] = night.doc.events;
  assert.equal(flows.standOf(night, event, way).step, "blood");
  draft.stampStep(night, "clotting_call", "Call the unit on call: go on or end.: ⟦unit_new_lines⟧", at(35));
  night.doc.steps.reverse();
  assert.equal(flows.standOf(night, event, way).step, "lines", "the newest answer counts, in whatever order they lie");
  assert.deepEqual([event.outcome, event.ended_at, event.called], ["", null, "not_reached"]);
});

test("a second pressure that is as low as the first is called still low, in the words of every low one", () => {
  const night = fresh();
  const ctx = {
    ...ctxOf(night, at(40)),
    kit: { ...KIT, low_pressure: { usual: 90, high_before: 160, after_high: 100 } },
  };
  draft.addEvent(night, { kind: "hypotension", at: at(29), systolic: 78, diastolic: 42 });
  const [event] = night.doc.events;
  assert.equal(flows.stillLow(ctx, event), "", "measured once");
  night.doc.readings.push({ at: at(35), systolic: 82, diastolic: 44 });
  assert.equal(flows.stillLow(ctx, event), `Still low. ${flows.lowWords(ctx, 82)}`);
  assert.match(flows.lowWords(ctx, 82), /^82 mmHg is below 90 mmHg/u);
  night.doc.readings[0].systolic = 108;
  assert.equal(flows.stillLow(ctx, event), "");
});

test("an event that is moved keeps its place on its way", () => {
  const night = fresh();
  const event = flows.begin(ctxOf(night, at(29)), night, "hypotension", at(29));
  const stand = { step: flows.OVER, since: at(30), past: ["first"] };
  flows.setStand(night, event, stand);
  draft.setRow(night, "events", 0, { at: at(10) });
  assert.deepEqual(flows.standOf(night, event, KIT.flows.hypotension), stand);
});

test("what an answer says of a time never lies before the event, whatever the phone's clock does", () => {
  const dice = chance(7);
  for (let evening = 0; evening < 500; evening += 1) {
    const night = fresh();
    draft.addEvent(night, { kind: "infiltration", at: at(29, dice.below(60)) });
    for (const deed of ["pause", "resume", "went_on"]) flows.write(night, 0, [deed], at(28 + dice.below(4)));
    assert.ok(inOrder(night.doc.events[0]), JSON.stringify(night.doc.events[0]));
  }
});

test("an event whose times were rounded down by an earlier release is in order once it is moved", () => {
  const event = { kind: "infiltration", at: at(29, 15), paused_at: at(29), resumed_at: null, ended_at: at(31) };
  const moved = { ...event, at: at(28, 15), ...flows.moveTimes(event, at(28, 15)) };
  assert.ok(inOrder(moved), JSON.stringify(moved));
  assert.equal(moved.ended_at, at(30));
});

test("a refused field leads to the row on which it can be changed", () => {
  const night = fresh();
  assert.deepEqual(placeOfField("events[2].paused_at", night), ["event", "2"]);
  assert.deepEqual(placeOfField("readings[0].systolic", night), ["reading", "0"]);
  assert.deepEqual(placeOfField("medicines[1].amount", night), ["medicine", "1"]);
  assert.deepEqual(placeOfField("ended_at", night), ["finish"]);
});

test("a record that was changed is no longer called refused", () => {
  const night = fresh();
  night.faults = [{ field: "events[0].paused_at", message: "Too early." }];
  night.trouble = { status: 400, said: "Too early.", next: null };
  draft.judgeAnew(night);
  assert.deepEqual([night.faults, night.trouble], [[], null]);
  const broken = { status: 500, said: "", next: at(40) };
  night.trouble = broken;
  draft.judgeAnew(night);
  assert.equal(night.trouble, broken, "what the server could not do waits for its next try");
});

/* What is not at its end, and the blood that is not given back --------------------------------------- */

const END_KEYS = ["off_ready", "off_uf", "off_slow", "off_saline", "off_wash", "off_stop", "off_caps"];
const WITH_CARDS = {
  ...KIT,
  card_of: { needle_dislodged: "needle_out", chlorine_connected: "chlorine", infiltration: "swelling" },
  blood_back: {
    kinds: { needle_dislodged: "never", chlorine_connected: "ask" },
    words: { never: "Do not give the blood back.", ask: "Ask first." },
    steps: ["off_slow", "off_saline", "off_wash"],
  },
  run_sheet: { steps: [{ key: "bolus" }, ...END_KEYS.map((key) => ({ key, part: "end" }))] },
};
const running = (...events) => {
  const night = fresh();
  night.doc.started_at = at(0);
  for (const event of events) draft.addEvent(night, event);
  return night;
};
const keysOff = (night) => stepsOff(WITH_CARDS, night).map((step) => step.key);

test("a grave event with a card alone is not at its end until somebody says so", () => {
  const needle = { kind: "needle_dislodged", at: at(29) };
  const night = running({ kind: "air", at: at(10) }, needle, { kind: "infiltration", at: at(30) });
  const ctx = { kit: WITH_CARDS, night, now: () => new Date(at(40)) };
  assert.deepEqual(flows.notAtEnd(ctx), [1, 2], "what has neither steps nor a card holds nobody");
  assert.deepEqual(flows.wayOf(WITH_CARDS, night.doc.events[1]), ["danger", "needle_out"]);
  assert.equal(flows.wayOf(WITH_CARDS, night.doc.events[2])?.[0], "flow");
  flows.write(night, 1, ["went_on"], at(41));
  assert.deepEqual(flows.notAtEnd(ctx), [2]);
  assert.deepEqual(flows.notAtEnd({ ...ctx, night: running({ ...needle, at: "2026-11-30T13:00:00.000Z" }) }), []);
});

test("after a needle that came out the steps of the end bring no blood back, and the pump stands first", () => {
  assert.deepEqual(keysOff(running()), END_KEYS);
  assert.deepEqual(keysOff(running({ kind: "hypotension", at: at(29) })), END_KEYS);
  const without = ["off_stop", "off_ready", "off_uf", "off_caps"];
  assert.deepEqual(keysOff(running({ kind: "needle_dislodged", at: at(29) })), without);
  assert.deepEqual(keysOff(running({ kind: "chlorine_connected", at: at(29) })), without);
  assert.deepEqual(keysOff(running({ kind: "needle_dislodged", at: at(29), outcome: "went_on" })), END_KEYS);
});

test("of two events the one after which blood never comes back says so", () => {
  const both = running({ kind: "chlorine_connected", at: at(20) }, { kind: "needle_dislodged", at: at(29) });
  assert.equal(flows.bloodStays(WITH_CARDS, both), "never");
  assert.equal(flows.bloodStays(WITH_CARDS, running({ kind: "chlorine_connected", at: at(20) })), "ask");
  assert.equal(flows.bloodStays(WITH_CARDS, running()), "");
});

test("a sheet is done when each step was, with its answer; one needle put in anew asks for its own steps alone", () => {
  const steps = [{ key: "wash" }, { key: "flash", use: "venous" }, { key: "flash_a", use: "arterial" }];
  const noted = (...rows) => ({ doc: { steps: rows.map(([key, words]) => ({ key, words, at: "" })) } });
  const open = (...given) => gapsOf(...given).map(({ key }) => key);
  assert.deepEqual(open(steps, noted(["wash", "Wash"], ["flash", "Flash: ⟦no_answer⟧"])), ["flash", "flash_a"]);
  const later = noted(["flash", "Flash: ⟦no_answer⟧"], ["flash", "Flash: ⟦yes⟧"]);
  assert.deepEqual(open(steps, later), ["wash", "flash_a"], "what was answered since counts");
  assert.deepEqual(open(steps, noted(), "venous"), ["flash"]);
});
