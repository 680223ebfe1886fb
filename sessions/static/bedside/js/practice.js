/*
 * A treatment gone through for practice: before the first one, and again each year. It is kept on this phone like any
 * other, so that a phone that dies finds it again, is marked on every screen, never sent, and thrown away at the end.
 */

import { noteSurroundings } from "./acknowledging.js";
import { callButtons } from "./calls.js";
import { replace } from "./router.js";
import { bigButton, note, toast } from "./ui.js";
import { dayOf, t } from "./words.js";

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

/**
 * A screen that tells the unit something of its own tells nothing while there is practice: it says so instead, however
 * it was come to.
 * @param {Ctx} ctx @param {BedsideScreen} screen @returns {BedsideScreen}
 */
export const asPractised = (ctx, screen) =>
  screen.toUnit && isPractice(ctx)
    ? {
        title: screen.title,
        draw: () => [
          note(t("You are practising. What is said here really goes to the unit: end the practice first."), "care"),
          throwAwayButton(ctx),
          ...callButtons(ctx.kit?.unit, "calm"),
        ],
        bar: () => [{ label: t("Back to the practice"), go: "tonight" }],
      }
    : screen;

/** Tell the unit that there was practice: its day, and nothing of what was gone through. @param {Ctx} ctx */
async function tell(ctx) {
  const { night } = ctx;
  const at = ctx.now().toISOString();
  const words = t("Practised on {day}", { day: dayOf(at) });
  night.plan.practised = at;
  await ctx.save();
  await noteSurroundings(ctx, "done", { id: night.id, kind: "practice", done_at: at }, words);
  ctx.redraw();
}

/** That it was practised, noted for the unit's list of trainings where the person wants that. @param {Ctx} ctx */
export const practisedNote = (ctx) =>
  ctx.night.plan.practised
    ? note(
        t("Noted for the unit: practised on {day}. Nothing else of it is told.", {
          day: dayOf(ctx.night.plan.practised),
        }),
      )
    : bigButton(t("Note for the unit that I practised today"), () => tell(ctx), {
        hint: t("The day alone, for the list of trainings"),
        data: { k: "practised" },
      });
