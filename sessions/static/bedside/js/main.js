/* The entry: every screen by its file, then the vault of the person who was here last, then what goes on by itself. */

import { ctx, startIn } from "./app.js";
import { drawFrame, fitDock } from "./frame.js";
import * as outbox from "./outbox.js";
import { screenOf, startRouter } from "./router.js";
import { apply, languageOf, settings } from "./settings.js";
import { byId, h } from "./ui.js";
import { startWorker } from "./update.js";
import * as vault from "./vault.js";
import { speak, t } from "./words.js";

import "./danger.js";
import "./screens/lock.js";
import "./screens/settings.js";
import "./screens/more.js";
import "./screens/queue.js";
import "./screens/conflict.js";
import "./screens/choose.js";
import "./screens/storage.js";
import "./screens/open.js";
import "./screens/tonight.js";
import "./screens/changes.js";
import "./screens/messages.js";
import "./screens/checks.js";
import "./screens/weigh.js";
import "./screens/finish.js";
import "./screens/summary.js";
import "./screens/answer.js";
import "./screens/nights.js";
import "./screens/trends.js";
import "./screens/takeout.js";
import "./screens/paper.js";
import "./screens/due.js";
import "./screens/surroundings.js";
import "./screens/access.js";
import "./screens/needles.js";
import "./screens/running.js";
import "./screens/reading.js";
import "./screens/medicine.js";
import "./screens/event.js";
import "./screens/bpdrop.js";

const REFRESH_EVERY = 15 * 60_000;
const LOOK_EVERY = 20_000;
const GATES = { locked: "lock", choose: "choose", taken: "taken", first: "first", gone: "gone" };
const NO_RETURN = new Set([
  "danger",
  "settings",
  "more",
  "queue",
  "storage",
  "conflict",
  "tonight",
  "changes",
  "messages",
  "due",
  "nights",
  "answer",
  "trends",
  "takeout",
]);
let touched = Date.now();
let asked = Date.now();

function frame(place, screen, fresh) {
  if (ctx.gate === "starting") return;
  const gate = place.name === "danger" ? null : (GATES[ctx.gate] ?? (ctx.kit?.patient ? null : "first"));
  drawFrame(ctx, gate ? { name: gate, params: [] } : place, gate ? screenOf(gate) : screen, fresh);
  if (fresh && !gate) rememberPlace(place);
}

/** A phone that dies finds the record at the screen where it was. */
function rememberPlace({ name }) {
  const { night } = ctx;
  if (!night || night.stage === "handed" || NO_RETURN.has(name) || night.screen === location.hash) return;
  night.screen = location.hash;
  ctx.save();
}

async function lookAround() {
  const idle = settings.lockAfter * 60_000;
  if (idle && Date.now() - touched > idle && ctx.gate === "open") await ctx.lock();
  if (Date.now() - asked < REFRESH_EVERY || !navigator.onLine) return;
  asked = Date.now();
  await ctx.refresh();
}

async function reconnected() {
  ctx.redraw();
  asked = Date.now();
  if (ctx.gate === "open" || ctx.gate === "first") await ctx.refresh();
  await outbox.push();
}

function listen() {
  for (const name of ["pointerdown", "keydown"])
    document.addEventListener(
      name,
      () => {
        touched = Date.now();
      },
      { passive: true },
    );
  window.addEventListener("online", reconnected);
  window.addEventListener("offline", ctx.redraw);
  window.addEventListener("resize", fitDock);
  document.addEventListener("visibilitychange", () => (document.hidden ? outbox.push() : lookAround()));
  setInterval(lookAround, LOOK_EVERY);
  vault.whenTaken(ctx.stepAside);
  outbox.bind(ctx, ctx.redraw, (kind) => {
    if (kind === "gone" || kind === "signedOut") ctx.refresh();
  });
}

/** The worker serves this page under the old addresses too: they become screens. */
function straighten() {
  const id = new URLSearchParams(location.search).get("id");
  const screen = { "/record/": id ? `#/open/${id}` : "#/tonight", "/nights/": "#/nights" }[location.pathname];
  if (screen) history.replaceState(null, "", `/tonight/${screen}`);
}

async function start() {
  await speak(languageOf(null));
  apply(null);
  straighten();
  listen();
  startRouter(frame);
  await startIn(vault.plain("account"));
  await vault.askToStay();
  await startWorker(ctx);
}

function cannotStart(words) {
  byId("screen").replaceChildren(h("h1", { text: t("Home dialysis") }), h("p", { role: "alert", text: words }));
}

/** Without https a browser gives neither encryption nor a worker: nothing could be kept, so nothing is begun. */
if (window.isSecureContext) {
  start().catch((problem) => {
    console.error("The bedside could not start", problem);
    cannotStart(t("The bedside could not start. Reload the page; use the paper sheet until it works."));
  });
} else
  cannotStart(
    t("The bedside works only at an address that begins with https. Tell the unit; use the paper sheet until then."),
  );
