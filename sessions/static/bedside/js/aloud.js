/*
 * Reading aloud, where the phone itself can: only voices that are on the phone, so that it works without a network and
 * no word of a treatment leaves it.
 */

import { visit } from "./router.js";
import { bigButton } from "./ui.js";
import { lang, t } from "./words.js";

const synth = () => ("speechSynthesis" in window && "SpeechSynthesisUtterance" in window ? speechSynthesis : null);

/**
 * A voice of this phone in the language of the moment, or null. Some browsers know their voices only after a moment.
 */
const voice = () =>
  synth()
    ?.getVoices()
    .find((each) => each.localService && each.lang.replace("_", "-").split("-")[0] === lang().split("-")[0]) ?? null;

/** The visit on which steps are read as they come: on another screen it is quiet until it is asked for again. */
let aloudOn = -1;
let waits = false;
const isAloud = () => aloudOn === visit();

/** Read this, and nothing that was begun before. @param {string} text */
function readAloud(text) {
  const found = voice();
  if (!found) return;
  hush();
  const said = new SpeechSynthesisUtterance(text);
  said.voice = found;
  said.lang = found.lang;
  said.rate = 0.9;
  synth()?.speak(said);
}

const hush = () => synth()?.cancel();

/** A step has come: it is read where that was asked for on this visit. @param {string} text */
export function stepCame(text) {
  if (isAloud()) readAloud(text);
}

/** The touch that has this step read, and those that come after it; null where the phone has no voice of its own. */
export function aloudButton(ctx, text) {
  if (!voice()) {
    if (!waits) synth()?.addEventListener?.("voiceschanged", ctx.redraw, { once: true });
    waits = true;
    return null;
  }
  const turn = () => {
    aloudOn = isAloud() ? -1 : visit();
    if (isAloud()) readAloud(text);
    else hush();
    ctx.redraw();
  };
  return bigButton(isAloud() ? t("Stop reading aloud") : t("Read aloud"), turn, { data: { k: "aloud" } });
}

window.addEventListener("hashchange", hush);
