/* The worker that keeps the bedside on the phone: what a page is answered while the server is there, and while it is not. */

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";
import { runInNewContext } from "node:vm";

const SOURCE = readFileSync(new URL("../../templates/sessions/sw.js", import.meta.url), "utf8")
  .replace('"{{ shell }}"', '"/tonight/"')
  .replace('"{{ offline }}"', '"/offline/"')
  .replace('/** @type {any} */ ("{{ files }}")', '["/app.js"]')
  .replace('"{{ shells }}"', '["/tonight/"]');

/** The worker with what it keeps and a network; `timers` are set off by hand. */
function worker(fetch, kept = { "/tonight/": "shell", "/offline/": "offline page" }) {
  const heard = {};
  const timers = [];
  const self = {
    addEventListener: (name, listener) => {
      heard[name] = listener;
    },
    location: { origin: "https://unit.example" },
  };
  const store = { match: async (address) => kept[address] };
  const globals = { self, URL, Set, Promise, Error, fetch, caches: { open: async () => store } };
  runInNewContext(SOURCE, {
    ...globals,
    setTimeout: (act, wait, given) => timers.push({ act: () => act(given), wait }),
  });
  const asked = (path) => {
    let answer;
    const request = { method: "GET", mode: "navigate", url: `https://unit.example${path}` };
    heard.fetch({ request, respondWith: (given) => (answer = given) });
    return answer;
  };
  return { asked, timers };
}

const turn = () => new Promise((go) => setImmediate(go));

test("a server that swallows what was asked is as good as none, after as long as the bedside waits", async () => {
  const { asked, timers } = worker(() => new Promise(() => {}));
  let given = "nothing yet";
  asked("/nights/").then((answer) => {
    given = answer;
  });
  await turn();
  assert.equal(given, "nothing yet");
  assert.deepEqual(
    timers.map(({ wait }) => wait),
    [20_000],
  );
  timers[0].act();
  await turn();
  assert.equal(given, "offline page");
});

test("an answer in time is that of the server, and a late limit changes nothing", async () => {
  const { asked, timers } = worker(async () => "page of the server");
  assert.equal(await asked("/nights/"), "page of the server");
  timers[0].act();
  await turn();
});

test("without a network and without what was kept the fault is the network's own", async () => {
  const { asked } = worker(async () => Promise.reject(new TypeError("no network")), {});
  await assert.rejects(asked("/nights/"), /no network/);
});

test("the bedside itself is taken from what is kept, and nobody is asked", async () => {
  const { asked, timers } = worker(() => assert.fail("the network was asked"));
  assert.equal(await asked("/tonight/"), "shell");
  assert.equal(timers.length, 0);
});
