/*
 * The phone's own way back on a screen of steps: a step back for each step that was taken on this visit, and only then
 * to the screen before. Where no step was taken it leads there at once.
 */

import { layOver } from "./over.js";

/** How to take each step back, the newest last. @type {(() => void)[]} */
let taken = [];
/** @type {(() => void) | null} */
let lift = null;

function lay() {
  if (taken.length) lift ??= layOver(wayBack, forget);
}

function forget() {
  taken = [];
  lift = null;
}

function wayBack() {
  lift = null;
  taken.pop()?.();
  lay();
}

/** A step was taken; `back` takes it back. @param {() => void} back */
export function stepTaken(back) {
  taken.push(back);
  lay();
}

/** A step was taken back by a touch on the screen. */
export function stepUndone() {
  taken.pop();
  if (!taken.length) stepsOver();
}

/** What comes now is no step of these any more: the way back leads to the screen before. */
export function stepsOver() {
  lift?.();
  forget();
}
