/*
 * How this phone shows the bedside: hand, light, letters, language, lock. Kept plain: nothing personal, and needed
 * before the first paint.
 */

import { plain, setPlain } from "./vault.js";
import { dir, speak } from "./words.js";

/** @type {Settings} */
const FIRST = { hand: "", theme: "auto", text: "1", language: "", lockAfter: 10 };
/** @type {Settings} */
export const settings = { ...FIRST, ...plain("look") };

/** The free thumb: the setting, else the hand away from the access. @param {Kit | null} [kit] */
export const handOf = (kit) => settings.hand || (kit?.patient?.access_side === "right" ? "left" : "right");

/** Write the settings onto the page; theme.js does the same before the first paint. @param {Kit | null} [kit] */
export function apply(kit) {
  const hand = handOf(kit);
  Object.assign(document.documentElement.dataset, { theme: settings.theme, text: settings.text, hand });
  document.documentElement.dataset.thumb = (hand === "right") === (dir() === "ltr") ? "end" : "start";
  setPlain("look", { ...settings, shownHand: hand, dir: dir() });
}

/** Change some settings: set({theme: "night"}). @param {Kit | null} [kit] */
export async function set(changes, kit) {
  Object.assign(settings, changes);
  if ("language" in changes) await speak(languageOf(kit));
  apply(kit);
}

/** @param {Kit | null} [kit] */
export const languageOf = (kit) =>
  settings.language || kit?.language || document.documentElement.dataset.language || "en";
