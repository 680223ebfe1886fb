/* A sound and a shake for what is due, where the browser allows. A help to memory: no alarm, nobody is called. */

/** @type {AudioContext | null} */
let audio = null;

/** Browsers let a page sound only after a touch: call this from one. */
function unlockSound() {
  const Audio = window.AudioContext ?? window.webkitAudioContext;
  if (!Audio) return;
  audio ??= new Audio();
  if (audio.state === "suspended") audio.resume().catch(() => {});
}

document.addEventListener("pointerdown", unlockSound, { capture: true });

export const canSound = () => audio?.state === "running";
export const canShake = () => typeof navigator.vibrate === "function";

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
  if (audio && sounded) tone(audio);
  return { sounded, shaken: canShake() && navigator.vibrate([250, 120, 250]) };
}

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
