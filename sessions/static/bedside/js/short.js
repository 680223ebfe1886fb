/* Whole or in short: the unit allows the short form, the patient chooses it. Short never leaves anything out. */

import { bigButton, byId } from "./ui.js";
import { plain, setPlain } from "./vault.js";
import { t } from "./words.js";

/** @param {Ctx} ctx */
const allowed = (ctx) => Boolean(ctx.kit?.patient?.short_sheets);

/** Whether this patient goes through checks and steps in short. @param {Ctx} ctx */
export const inShort = (ctx) => allowed(ctx) && plain("whole") !== true;

/**
 * Let one touch answer for a list only once its end was in sight: what lies under the dock comes into sight first.
 * @param {() => void} act
 */
export const onceSeen = (act) => () => {
  const last = document.querySelector("#screen ol > li:last-child")?.getBoundingClientRect();
  const room = byId("bottom").getBoundingClientRect().top;
  if (!last || last.bottom <= room + 8) return act();
  window.scrollBy(0, Math.min(last.bottom - room + 24, room * 0.8));
};

/** The choice, at the end of a sheet; nothing where the unit has not allowed it. @param {Ctx} ctx */
export function shortRow(ctx) {
  if (!allowed(ctx)) return null;
  const short = inShort(ctx);
  const turn = () => {
    setPlain("whole", short ? true : null);
    ctx.redraw();
  };
  const words = short ? t("Show each by itself") : t("Show in short");
  return bigButton(words, turn, { data: { k: "short" } });
}
