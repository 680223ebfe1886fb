/*
 * The entry: the screens that a phone must draw at once, each by its file, then the vault of the person who was here
 * last, then what goes on by itself. The other screens come after (later.js), so that the first one is soon there.
 */

import { ctx, startIn } from "./app.js";
import { callButtons, unitOfPage } from "./calls.js";
import { drawFrame, fitDock, redrawHead, tellState } from "./frame.js";
import { WRITTEN } from "./kept.js";
import * as offline from "./offline.js";
import * as outbox from "./outbox.js";
import { draw, fetchRest, here, screenOf, startRouter } from "./router.js";
import { apply, languageOf, settings } from "./settings.js";
import { announce, byId, h, note } from "./ui.js";
import { keepPage, nightsAreKnown, startWorker } from "./update.js";
import * as vault from "./vault.js";
import { speak, t } from "./words.js";

import "./home_screen.js";
import "./danger.js";
import "./screens/lock.js";
import "./screens/choose.js";
import "./screens/tonight.js";
import "./screens/running.js";
import "./screens/reading.js";
import "./screens/event.js";
import "./screens/flow.js";

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
  "second",
  "mistake",
  "again",
  "nottonight",
  "helper",
  "welcome",
]);
const SHOWS_READY = new Set(["tonight", "storage"]);
let touched = Date.now();
let asked = Date.now();
let askedToStay = false;

function frame(place, screen, fresh) {
  if (ctx.gate === "starting") return;
  const gate = place.name === "danger" ? null : (GATES[ctx.gate] ?? (ctx.kit?.patient ? null : "first"));
  if (gate) drawFrame(ctx, { name: gate, params: [] }, screenOf(gate), fresh);
  else if (screen) drawFrame(ctx, place, screen, fresh);
  else waitForRest(place, fresh);
  if (fresh && !gate) rememberPlace(place);
  if (fresh && !offline.isReady()) offline.look(ctx);
}

/** An address of later.js, asked for before that is here. */
function waitForRest(place, fresh) {
  fetchRest().then(
    () => draw(fresh),
    () => drawFrame(ctx, place, NOT_HERE, fresh),
  );
}

const NOT_HERE = {
  title: () => t("Not on this phone yet"),
  draw: () =>
    note(
      t("This screen has not reached the phone. Connect to the network and try again; use the paper sheet until then."),
      "care",
    ),
  bar: () => [{ label: t("Try again"), tap: () => draw(true) }],
};

/** A phone that dies finds the record at the screen where it was. */
function rememberPlace({ name }) {
  const { night } = ctx;
  if (!night || night.stage === "handed" || NO_RETURN.has(name) || night.screen === location.hash) return;
  night.screen = location.hash;
  ctx.save();
}

/** What another phone wrote on the treatment under way comes here by itself, while there is a network. */
async function hearOthers() {
  const { night } = ctx;
  const listens = ctx.gate === "open" && navigator.onLine && !document.hidden;
  if (!listens || !night || night.stage === "handed" || night.correcting || night.plan.paper) return;
  if (await outbox.listen(night)) announce(t("New from another phone: look at what was written so far."));
}

async function lookAround() {
  const idle = settings.lockAfter * 60_000;
  if (idle && Date.now() - touched > idle && ctx.gate === "open") await ctx.lock();
  await hearOthers();
  if (!offline.isReady()) await lookAgain();
  if (Date.now() - asked < REFRESH_EVERY || !navigator.onLine) return;
  asked = Date.now();
  await ctx.refresh();
}

async function lookAgain() {
  if (navigator.onLine) await keepPage(ctx);
  await offline.look(ctx);
}

/**
 * A browser's own question about the storage is understood once a treatment was begun: it follows the touch that
 * begins, or the one after where the unit is asked first whether one runs already.
 */
function askToStay() {
  if (askedToStay || !ctx.night || here().name === "danger") return;
  askedToStay = true;
  vault.askToStay().then(offline.tell);
}

/** A treatment begins once the unit was asked what runs: after the touch, and while the browser still knows of it. */
function askOnTheNextScreen() {
  if (navigator.userActivation?.isActive) askToStay();
}

async function reconnected() {
  ctx.redraw();
  lookAgain();
  asked = Date.now();
  if (ctx.gate === "open" || ctx.gate === "first") await ctx.refresh();
  await outbox.push();
}

/** A finger lies on the screen: what it touches is not drawn anew under it, or the touch would be lost. */
let pressed = false;
let owed = false;

function redrawUntouched() {
  owed = pressed;
  if (!pressed) ctx.redraw();
}

function lifted() {
  pressed = false;
  if (owed) setTimeout(redrawUntouched); // after the click that follows
}

function listen() {
  document.addEventListener("pointerdown", () => {
    pressed = true;
  });
  for (const name of ["pointerup", "pointercancel"]) document.addEventListener(name, lifted);
  for (const name of ["pointerdown", "keydown"])
    document.addEventListener(
      name,
      () => {
        touched = Date.now();
      },
      { passive: true },
    );
  document.addEventListener("click", askToStay, { passive: true });
  window.addEventListener("hashchange", askOnTheNextScreen);
  window.addEventListener(offline.LOOKED, () => (SHOWS_READY.has(here().name) ? ctx.redraw() : redrawHead(ctx)));
  window.addEventListener(WRITTEN, () => tellState(ctx));
  window.addEventListener("online", reconnected);
  window.addEventListener("offline", ctx.redraw);
  window.addEventListener("resize", fitDock);
  document.addEventListener("visibilitychange", () => (document.hidden ? outbox.push() : lookAround()));
  setInterval(lookAround, LOOK_EVERY);
  vault.whenTaken(ctx.stepAside);
  outbox.bind(ctx, redrawUntouched, (kind, _night, answer) => {
    if (kind === "gone" || kind === "signedOut" || answer.status === 403) ctx.refresh(); // the kit brings a new token
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
  startWorker(ctx);
  await startIn(vault.plain("account"));
  fetchRest().catch((problem) => console.warn("The other screens are not here yet:", problem.message));
  nightsAreKnown(ctx);
  await vault.seeWhetherItStays();
  await offline.look(ctx);
}

function cannotStart(words) {
  const title = h("h1", { text: t("Home dialysis") });
  byId("screen").replaceChildren(title, h("p", { role: "alert", text: words }), ...callButtons(unitOfPage()));
}

/** Without https a browser gives neither encryption nor a worker: nothing could be kept, so nothing is begun. */
const { missing } = document.documentElement.dataset; // floor.js has said so
if (missing) console.warn("This browser lacks", missing);
else if (window.isSecureContext) {
  start().catch((problem) => {
    console.error("The bedside could not start", problem);
    cannotStart(t("The bedside could not start. Reload the page; use the paper sheet until it works."));
  });
} else
  cannotStart(
    t("The bedside works only at an address that begins with https. Tell the unit; use the paper sheet until then."),
  );
