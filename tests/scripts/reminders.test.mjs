/* A reminder rings once at its moment, only if it still matters, and never for what is long past. */

import assert from "node:assert/strict";
import { test } from "node:test";
import { script } from "./given.mjs";

globalThis.document ??= { addEventListener() {} };
globalThis.window ??= globalThis;
globalThis.navigator ??= {};
const { forget, remindAt } = await script("reminders.js");

const START = Date.parse("2026-03-01T20:00:00Z");
const inMinutes = (minutes) => new Date(START + minutes * 60_000).toISOString();

/** An evening with a clock of its own: act(ring, pass), where pass(minutes) lets time go by -> what rang. */
function evening(act) {
  const rung = [];
  const waiting = new Map();
  const real = { setTimeout: globalThis.setTimeout, clearTimeout: globalThis.clearTimeout };
  let now = START;
  globalThis.setTimeout = (ring, wait) => {
    const id = Symbol("timer");
    waiting.set(id, { ring, at: now + wait });
    return id;
  };
  globalThis.clearTimeout = (id) => waiting.delete(id);
  const pass = (minutes) => {
    now += minutes * 60_000;
    for (const [id, { ring, at }] of [...waiting]) if (at <= now && waiting.delete(id)) ring();
  };
  const remind = (name, iso, words, more) => remindAt(name, iso, () => rung.push(words), { now: () => now, ...more });
  try {
    act(remind, pass, rung);
  } finally {
    Object.assign(globalThis, real);
  }
  return rung;
}

test("it rings at its moment and not before; the same again changes nothing", () => {
  evening((remind, pass, rung) => {
    remind("a", inMinutes(10), "one");
    remind("a", inMinutes(10), "again");
    pass(9.99);
    assert.deepEqual(rung, []);
    pass(0.01);
    assert.deepEqual(rung, ["one"]);
    pass(60);
    assert.deepEqual(rung, ["one"]);
  });
});

test("a new moment takes the place of the old; none, or forgetting, takes it away", () => {
  const rung = evening((remind, pass) => {
    remind("b", inMinutes(5), "old");
    remind("b", inMinutes(20), "new");
    remind("c", inMinutes(5), "c");
    remind("c", null, "c");
    remind("d", inMinutes(5), "d");
    forget("d");
    pass(30);
  });
  assert.deepEqual(rung, ["new"]);
});

test("what was dealt with meanwhile does not ring, nor what lies more than a minute back", () => {
  const rung = evening((remind, pass) => {
    remind("e", inMinutes(5), "done", { isStillDue: () => false });
    remind("f", inMinutes(-2), "last night");
    remind("g", inMinutes(-0.5), "just now");
    pass(10);
  });
  assert.deepEqual(rung, ["just now"]);
});
