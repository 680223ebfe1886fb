/* A sound and a shake for what is due, where the browser allows. A help to memory: no alarm, nobody is called. */

import { bigButton, toast } from "./ui.js";
import { t } from "./words.js";

/** @type {AudioContext | null} */
let audio = null;
const SOUNDS_FOR = 1_000;

/** Browsers let a page sound only after a touch, and take it away again when a call comes in: call this from one. */
async function unlockSound() {
  const Audio = window.AudioContext ?? window.webkitAudioContext;
  if (!Audio) return;
  audio ??= new Audio();
  if (audio.state !== "running") await audio.resume().catch(() => {});
}

// The beginning of a finger's touch is no leave to sound in every browser, its end is.
for (const name of ["pointerup", "touchend", "click", "keydown"])
  document.addEventListener(name, unlockSound, { capture: true, passive: true });

export const canSound = () => audio?.state === "running";
export const canShake = () => typeof navigator.vibrate === "function";

/**
 * What asks to be heard is heard with the ring switch off too, where the browser has a word for it; in between nobody
 * else's music is stopped. @param {string} type
 */
function hearAs(type) {
  const session = /** @type {any} */ (navigator).audioSession;
  if (session) session.type = type;
}

/** Two soft tones, 0.25 s each; the ramps keep the speaker from cracking. @param {AudioContext} by */
function tone(by) {
  for (const [start, pitch] of [
    [0, 660],
    [0.35, 880],
  ]) {
    const from = by.currentTime + start;
    const [voice, loudness] = [by.createOscillator(), by.createGain()];
    voice.frequency.value = pitch;
    loudness.gain.setValueAtTime(0, from);
    loudness.gain.linearRampToValueAtTime(0.25, from + 0.03);
    loudness.gain.linearRampToValueAtTime(0, from + 0.25);
    voice.connect(loudness).connect(by.destination);
    voice.start(from);
    voice.stop(from + 0.3);
  }
}

/** Sound and shake once, as far as allowed -> {sounded, shaken}. */
export function remind() {
  const sounded = canSound();
  if (audio && sounded) {
    hearAs("playback");
    tone(audio);
    setTimeout(() => hearAs("auto"), SOUNDS_FOR);
  }
  return { sounded, shaken: canShake() && navigator.vibrate([250, 120, 250]) };
}

/** The same from a touch, which may have to open the way for the sound first. */
async function tryOut() {
  await unlockSound();
  return remind();
}

/** @param {{sounded: boolean, shaken: boolean}} given */
function heardWords({ sounded, shaken }) {
  if (sounded) return t("Did you hear it? If not, look at the ring switch and the loudness of this phone.");
  return shaken
    ? t("It shook. This phone gives no sound here.")
    : t("This phone gives neither sound nor vibration here: set a clock of your own.");
}

export const tryButton = () =>
  bigButton(t("Try the reminder"), () => tryOut().then((given) => toast(heardWords(given), null)), {
    data: { k: "try" },
  });

const timers = new Map();

/** Forget what was to come under this name. */
export function forget(name) {
  clearTimeout(timers.get(name)?.timer);
  timers.delete(name);
}

/**
 * Remind at a moment (ISO), once, and tell; a new moment under the same name replaces the old. A moment more than
 * `grace` ms ago is not made up for: opening the page in the morning must not ring for last night.
 * @param {string} name @param {Iso | null} iso @param {() => void} tell
 * @param {{isStillDue?: () => boolean, grace?: number, now?: () => number}} [when]
 */
export function remindAt(name, iso, tell, { isStillDue = () => true, grace = 60_000, now = Date.now } = {}) {
  if (timers.get(name)?.iso === iso) return;
  forget(name);
  if (!iso) return;
  const wait = Date.parse(iso) - now();
  if (wait < -grace) return;
  const ring = () => {
    if (!isStillDue()) return;
    remind();
    tell();
  };
  timers.set(name, { iso, timer: setTimeout(ring, Math.max(0, wait)) });
}
