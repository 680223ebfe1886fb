/* Where the run sheet stands, and how it goes on and back: each step is stamped by the phone's clock. */

import { stampStep } from "./draft.js";
import { asKept, wordsOf } from "./ready.js";
import { gapsOf, isQuestion, nextAfter, restartOf, stepsOf, together } from "./sheet_steps.js";
import { inShort } from "./short.js";
import { stepTaken, stepUndone } from "./step_back.js";
import { announce } from "./ui.js";
import { plain } from "./vault.js";
import { t, tn } from "./words.js";

/** @param {Night} night @returns {import("./sheet_steps.js").Sheet} */
export const sheetOf = (night) => night.plan.sheet ?? { at: 0, since: null, failed: "", first: plain("first") ?? "" };

/** Where the sheet stands: its steps, those of this screen, and the first of these. @param {Ctx} ctx */
export function here(ctx) {
  const steps = stepsOf(ctx.kit, ctx.night);
  const sheet = sheetOf(ctx.night);
  // Another site was taken after a needle that failed: the sheet goes on where that place is cleaned.
  const from = sheet.restart ? restartOf(steps, sheet.restart, true) : Math.min(sheet.at, steps.length);
  const at = nextAfter(steps, from, sheet.only);
  const shown = inShort(ctx) && !sheet.single && !sheet.gap ? together(steps, at) : steps.slice(at, at + 1);
  return { steps, sheet, at, step: steps[at], shown };
}

/** What is open of the sheet. @param {Ctx} ctx */
export function gaps(ctx) {
  const { steps, sheet } = here(ctx);
  return gapsOf(steps, ctx.night, sheet.only);
}

/** @param {Ctx} ctx */
export const titleOf = (ctx) => {
  if (!ctx.night) return t("Needles");
  const { at, steps, shown } = here(ctx);
  const open = gaps(ctx).length;
  if (at >= steps.length) return open ? tn("{n} step is open", "{n} steps are open", open) : t("All steps done");
  if (shown.length < 2) return t("Step {n} of {all}", { n: at + 1, all: steps.length });
  return t("Steps {from} to {to} of {all}", { from: at + 1, to: at + shown.length, all: steps.length });
};

/** Say the new steps to those who listen, after the undo bar has said what was done. @param {Ctx} ctx */
export const sayStep = (ctx) =>
  announce(
    `${titleOf(ctx)}. ${here(ctx)
      .shown.map((step) => step.words)
      .join(". ")}`,
  );

/** @param {Ctx} ctx */
export function moveTo(ctx, at, label, fill = (_night, _iso) => {}) {
  const since = ctx.now().toISOString();
  const before = here(ctx).at;
  ctx.change(label, (night) => {
    fill(night, since);
    night.plan.sheet = { ...sheetOf(night), at, since, failed: "", restart: "" };
  });
  if (at > before) stepTaken(() => backward(ctx));
  window.scrollTo(0, 0);
  sayStep(ctx);
}

export const withSaid = (words, said) => (said ? `${words}: ${said}` : words);

/** Stamp a step with its words and what was answered, in codes. @param {Night} night @param {SheetStep} step */
export const stamp = (night, step, said, iso) =>
  stampStep(night, step.key, withSaid(asKept(step), said).slice(0, 500), iso);

/**
 * One step on, stamped. fill(night, iso) writes the answer.
 * @param {Ctx} ctx
 */
export function forward(ctx, said = "", fill = (_night, _iso) => {}) {
  const { step, steps, at, sheet } = here(ctx);
  const still = isQuestion(steps[at + 1] ?? {});
  moveTo(ctx, sheet.gap ? steps.length : at + 1, withSaid(step.words, wordsOf(ctx.kit, said)), (night, iso) => {
    fill(night, iso);
    stamp(night, step, said, iso);
    night.plan.sheet = { ...sheet, single: sheet.single && still, gap: false };
  });
}

/** All steps of the screen on, each stamped; answers by key. @param {Ctx} ctx @param {Record<string, string>} said */
export function forwardAll(ctx, said = {}, fill = (_night, _iso) => {}) {
  const { at, shown, step } = here(ctx);
  if (shown.length < 2) return forward(ctx, said[step.key] ?? "", fill);
  const words = tn("{n} step done", "{n} steps done", shown.length);
  return moveTo(ctx, at + shown.length, words, (night, iso) => {
    fill(night, iso);
    for (const each of shown) stamp(night, each, said[each.key] ?? "", iso);
  });
}

/** The steps of the screen before: one of them in the whole form. @param {Ctx} ctx */
function backward(ctx) {
  const { at, steps } = here(ctx);
  const before = Math.max(0, at - 1);
  const to = inShort(ctx) ? steps.indexOf(together(steps, before)[0]) : before;
  let from = to;
  if (inShort(ctx)) while (from > 0 && together(steps, from - 1).includes(steps[to])) from -= 1;
  moveTo(ctx, from, t("One step back"));
}

/** @param {Ctx} ctx */
export function byTouch(ctx) {
  stepUndone();
  backward(ctx);
}
