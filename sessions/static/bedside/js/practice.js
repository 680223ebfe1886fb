/*
 * A treatment gone through for practice: before the first one, and again each year. It is kept on this phone like any
 * other, so that a phone that dies finds it again, is marked on every screen, never sent, and thrown away at the end.
 */

import { replace } from "./router.js";
import { bigButton, toast } from "./ui.js";
import { t } from "./words.js";

/** Whether what is in hand is practice. @param {Ctx} ctx */
export const isPractice = (ctx) => Boolean(ctx.night?.practice);

/** It begins where a treatment begins. @param {Ctx} ctx */
export function practise(ctx) {
  ctx.begin(true);
  ctx.go("checks");
}

/** Nothing of it stays, but for the undo. @param {Ctx} ctx */
export async function throwAway(ctx) {
  const { night } = ctx;
  await ctx.forget(night);
  replace("tonight");
  toast(t("The practice is thrown away"), () => ctx.remember(night));
}

/** @param {Ctx} ctx */
export const throwAwayButton = (ctx) =>
  bigButton(t("Throw the practice away"), () => throwAway(ctx), { data: { k: "throw-away" } });
