/* The worker that keeps the release on the phone. A new release waits until no treatment is under way. */

let reloading = false;

/** @param {Ctx} ctx */
function offer(ctx, registration) {
  ctx.offer(registration.waiting);
  if (ctx.update && !ctx.night) takeUpdate(ctx);
  else ctx.redraw();
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

/** @param {Ctx} ctx */
export async function startWorker(ctx) {
  if (!navigator.serviceWorker) return;
  const controlled = Boolean(navigator.serviceWorker.controller);
  navigator.serviceWorker.addEventListener("controllerchange", () => {
    if (!controlled || reloading) return;
    reloading = true;
    location.reload();
  });
  try {
    const registration = await navigator.serviceWorker.register("/sw.js", { scope: "/", updateViaCache: "none" });
    registration.active?.postMessage("fill");
    registration.addEventListener("updatefound", () => watch(ctx, registration));
    if (registration.waiting && controlled) offer(ctx, registration);
  } catch (problem) {
    console.warn("The release cannot be kept for offline use:", /** @type {Error} */ (problem).message);
  }
}
