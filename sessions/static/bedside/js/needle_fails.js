/* When a needle does not work: tried again, another place, swelling noted as what it is, or no place left. */

import { callAction, callButtons } from "./calls.js";
import { useWords } from "./choices.js";
import { addEvent, changeSite, siteOf, stampStep } from "./draft.js";
import { noneLeft, noOtherPlace } from "./flow_needle.js";
import { addressOf, setStand, underWay } from "./flow_state.js";
import { giveUp, isGivenUp, ofCatheter, placesLeft, standingName } from "./needle_sites.js";
import { coded, say } from "./ready.js";
import { go } from "./router.js";
import { forward, here, moveTo, sheetOf } from "./sheet_moves.js";
import { restartOf } from "./sheet_steps.js";
import { bigButton, note } from "./ui.js";
import { t } from "./words.js";

const ANOTHER = "another_attempt";

/** @param {Ctx} ctx */
function again(ctx, use) {
  moveTo(ctx, restartOf(here(ctx).steps, use, false), say(ctx.kit, ANOTHER), (night, iso) => {
    changeSite(night, use, { attempts: (siteOf(night, use)?.attempts ?? 1) + 1, flash: null, flushed: null });
    stampStep(night, ANOTHER, coded(ANOTHER), iso);
  });
}

/** Whether swelling was noted at the needle that does not work. @param {Ctx} ctx */
const isSwollen = (ctx, use) =>
  isGivenUp(siteOf(ctx.night, use)) &&
  ctx.night.doc.events.some((event) => event.kind === "infiltration" && event.use === use);

/**
 * Swelling goes into the record as what it is, with the needle that it is at; that one is given up with it.
 * @param {Ctx} ctx
 */
function swelling(ctx, use) {
  if (isSwollen(ctx, use))
    return note(
      t("Swelling at this needle is noted. Do not put in another needle before the unit has said so."),
      "stop",
    );
  const write = () =>
    ctx.change(t("Swelling at this needle"), (night) => {
      addEvent(night, {
        kind: "infiltration",
        use,
        note: standingName(ctx, use) ?? useWords(use),
        at: ctx.now().toISOString(),
      });
      giveUp(night, use);
    });
  return bigButton(t("There is swelling: note it"), write, { data: { k: "swelling" } });
}

/** The swelling whose steps are gone through just now. @param {Ctx} ctx */
export const swellingUnderWay = (ctx) =>
  underWay(ctx)
    .map((index) => ctx.night.doc.events[index])
    .find((event) => event.kind === "infiltration");

/** No other place: while it runs the step of the swelling about that, else the screen about it. @param {Ctx} ctx */
function leave(ctx, use) {
  const event = ctx.night.doc.started_at && swellingUnderWay(ctx);
  ctx.change(say(ctx.kit, "no_other_place"), (night) => {
    giveUp(night, use);
    night.plan.sheet = { ...sheetOf(night), failed: "" };
    if (!event) return;
    noOtherPlace(night, night.doc.events.indexOf(event));
    setStand(night, event, { step: "call_no_place", since: ctx.now().toISOString(), past: [] });
  });
  if (event) go("flow", ...addressOf(event));
  else go("noplace", use);
}

/** @param {Ctx} ctx */
function noPlace(ctx, use) {
  const left = placesLeft(ctx.kit, ctx.night, use).length;
  const button = bigButton(say(ctx.kit, "no_other_place"), () => leave(ctx, use), { data: { k: "no-place" } });
  return left ? button : [note(noneLeft(), "care"), button];
}

/** @param {Ctx} ctx */
const sameSite = (ctx, use, hard) =>
  bigButton(t("Another attempt at the same site"), () => again(ctx, use), {
    hint: hard ? t("Never where it swells") : null,
    data: { k: "again" },
  });

const otherSite = (use) =>
  bigButton(t("Take another site"), () => go("access", use), {
    hint: t("Only after the unit has said so"),
    data: { k: "other-site" },
  });

/** @param {Ctx} ctx */
const allTheSame = (ctx) =>
  bigButton(t("Go on all the same"), () => forward(ctx, coded("all_the_same")), {
    hint: t("Only after the unit has said so"),
    data: { k: "all-the-same" },
  });

/** @param {Ctx} ctx */
export function notWorking(ctx, use) {
  const catheter = ofCatheter(ctx);
  const flushed = siteOf(ctx.night, use)?.flushed;
  const words = catheter
    ? t("This side of the catheter is blocked or slow. Never push. Do as you were trained, or call the unit.")
    : flushed === false
      ? t(
          "Do not use this needle. Swelling: take it out, press and cool. It grows fast, or the hand is cold, numb " +
            "or white: call the emergency number.",
        )
      : t(
          "The needle is not right. If it came out, press on the place. Swelling, pain that stays, or unsure: call " +
            "the unit.",
        );
  const swollen = isSwollen(ctx, use);
  return [
    note(words, "care"),
    flushed === false && !catheter ? swelling(ctx, use) : null,
    catheter || swollen ? null : sameSite(ctx, use, flushed === false),
    ...callButtons(ctx.kit.unit, "on_call"),
    swollen && placesLeft(ctx.kit, ctx.night, use).length ? otherSite(use) : null,
    catheter ? null : noPlace(ctx, use),
    swollen ? null : allTheSame(ctx),
  ];
}

/** @param {Ctx} ctx */
export function failedMain(ctx, use) {
  if (ofCatheter(ctx)) return { label: t("Try again"), tap: () => again(ctx, use), tone: "plain" };
  if (isSwollen(ctx, use) || !placesLeft(ctx.kit, ctx.night, use).length) return callAction(ctx.kit.unit, "on_call");
  const hard = siteOf(ctx.night, use)?.flushed === false;
  const hint = hard ? t("After a swelling only when the unit has said so") : null;
  return { label: t("Take another site"), go: ["access", use], hint };
}
