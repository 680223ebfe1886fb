/*
 * Reading aloud, where the phone itself can: only voices that are on the phone, so that it works without a network and
 * no word of a treatment leaves it.
 */

import { lang } from "./words.js";

const synth = () => ("speechSynthesis" in window && "SpeechSynthesisUtterance" in window ? speechSynthesis : null);

/**
 * A voice of this phone in the language of the moment, or null. Some browsers know their voices only after a moment.
 */
const voice = () =>
  synth()
    ?.getVoices()
    .find((each) => each.localService && each.lang.replace("_", "-").split("-")[0] === lang().split("-")[0]) ?? null;

export const canRead = () => voice() !== null;

/** Call `then` when the browser has found its voices. @param {() => void} then */
export function whenVoicesCome(then) {
  synth()?.addEventListener?.("voiceschanged", then, { once: true });
}

/** Read this, and nothing that was begun before. @param {string} text */
export function readAloud(text) {
  const found = voice();
  if (!found) return;
  hush();
  const said = new SpeechSynthesisUtterance(text);
  said.voice = found;
  said.lang = found.lang;
  said.rate = 0.9;
  synth()?.speak(said);
}

export const hush = () => synth()?.cancel();
