/* The worker that keeps the release on the phone. A new release waits until no treatment is under way. */

import { isPageKept, look, notePage } from "./offline.js";

let reloading = false;
let looked = false;

/** @param {Ctx} ctx */
function offer(ctx, registration) {
  ctx.offer(registration.waiting);
  settle(ctx);
  ctx.redraw();
}

/** Before the phone's nights were read, or while they are locked away, one may be under way. @param {Ctx} ctx */
function settle(ctx) {
  if (looked && ctx.gate === "open" && !ctx.night) takeUpdate(ctx);
}

/** The phone's own nights are known from here on. @param {Ctx} ctx */
export function nightsAreKnown(ctx) {
  looked = true;
  settle(ctx);
}

/**
 * Let the waiting release take over; the page is then loaded anew. Not while a treatment is under way.
 * @param {Ctx} ctx
 */
export function takeUpdate(ctx) {
  if (!ctx.update || ctx.busy()) return false;
  ctx.update.postMessage("take over");
  return true;
}

/** @param {Ctx} ctx */
function watch(ctx, registration) {
  const coming = registration.installing;
  coming?.addEventListener(
    "statechange",
    () => coming.state === "installed" && navigator.serviceWorker.controller && offer(ctx, registration),
  );
}

/**
 * The worker that answers from now on, the first time once it has fetched its release.
 * @returns {Promise<ServiceWorker>}
 */
function atWork(registration) {
  if (registration.active) return Promise.resolve(registration.active);
  const coming = registration.installing ?? registration.waiting;
  return new Promise((resolve, reject) => {
    coming.addEventListener("statechange", () => {
      if (coming.state === "activated") resolve(coming);
      if (coming.state === "redundant") reject(new Error("not every file of the release could be fetched"));
    });
  });
}

let trying = false;

/**
 * See that the page lies on the phone, and say to what it came; again whenever it did not and there is a network.
 * @param {Ctx} ctx
 */
export async function keepPage(ctx) {
  if (trying || isPageKept() || !navigator.serviceWorker) return;
  trying = true;
  try {
    const registration = await navigator.serviceWorker.register("/sw.js", { scope: "/", updateViaCache: "none" });
    registration.onupdatefound = () => watch(ctx, registration);
    if (registration.waiting && navigator.serviceWorker.controller) offer(ctx, registration);
    await notePage(await atWork(registration));
  } catch (problem) {
    console.warn("The release cannot be kept for offline use:", /** @type {Error} */ (problem).message);
    notePage("failed");
  }
  trying = false;
  await look(ctx);
}

/** @param {Ctx} ctx */
export async function startWorker(ctx) {
  if (!navigator.serviceWorker) {
    notePage("never");
    return look(ctx);
  }
  const controlled = Boolean(navigator.serviceWorker.controller);
  navigator.serviceWorker.addEventListener("controllerchange", () => {
    if (!controlled || reloading) return;
    reloading = true;
    location.reload();
  });
  await keepPage(ctx);
}
