/* Keeps the screen on while it matters, where the browser can. The browser lets go whenever the page is hidden. */

let wanted = false;
/** @type {WakeLockSentinel | null} */
let lock = null;
let asking = false;
let refused = false;

/** Whether this browser has a way to keep the screen on at all. */
export const canStayAwake = () => Boolean(navigator.wakeLock);
/** Whether the phone said no when it was last asked, as it does to save power. */
export const wasRefused = () => refused;

async function take() {
  if (!wanted || lock || asking || document.visibilityState !== "visible" || !canStayAwake()) return;
  asking = true;
  try {
    lock = await navigator.wakeLock.request("screen");
    refused = false;
    lock.addEventListener("release", () => {
      lock = null;
    });
    if (!wanted) await drop();
  } catch {
    lock = null; // saving power, or not allowed: the screen goes dark as it always did
    refused = true;
  } finally {
    asking = false;
  }
}

async function drop() {
  const current = lock;
  lock = null;
  await current?.release();
}

document.addEventListener("visibilitychange", take);

// Each screen that needs the light says so while it is drawn, after this; whichever does not lets the phone go dark.
window.addEventListener("hashchange", () => {
  wanted = false;
  setTimeout(() => wanted || drop(), 0);
});

/** Say whether the screen should stay on; the same again changes nothing. */
export function keepAwake(on) {
  wanted = on;
  return on ? take() : drop();
}
