/* What to do when the phone does not keep the record: said plainly, with the record in sight for paper. */

import { fieldName, shownValue } from "../fields.js";
import { isClearedAfterAWeek } from "../home_screen.js";
import { keptOf } from "../kept.js";
import * as offline from "../offline.js";
import { register } from "../router.js";
import { bigButton, dl, h, note } from "../ui.js";
import * as vault from "../vault.js";
import { t } from "../words.js";

/** @param {Ctx} ctx */
const isLost = (ctx) => ctx.night !== null && keptOf(ctx.night).state === "failed";

/** @param {Ctx} ctx */
function words(ctx) {
  const state = vault.state();
  if (state.denied)
    return t(
      "The browser does not let this page keep anything on the phone: perhaps a private window, or cookies are " +
        "blocked. The record works, but it lives in this window alone and is gone when the window closes.",
    );
  if (state.full)
    return t(
      "The phone's storage is full. What was kept before is still there; what you enter now lives in this window " +
        "alone. Free some room: photos or downloads you no longer need.",
    );
  if (isLost(ctx))
    return t(
      "The last entry could not be written into this phone's storage. What was kept before is still there; what you " +
        "enter now lives in this window alone.",
    );
  if (state.evicted)
    return t(
      "The browser cleared what was kept here, perhaps because room ran short or the page was not used for long. " +
        "What the unit has is safe; a night that was not sent is gone.",
    );
  return offline.isReady()
    ? t("This phone keeps the record, and your night opens without a network. Nothing needs to be done.")
    : t("The record is kept on this phone, but without a network your night could not be opened again.");
}

/** @param {Ctx} ctx */
function tone(ctx) {
  const { ok, evicted } = vault.state();
  if (!ok || evicted || isLost(ctx)) return "stop";
  return offline.isReady() ? "good" : "care";
}

/** Whether the browser may clear what is kept, and the touch after which it is asked not to. @param {Ctx} ctx */
function stays(ctx) {
  const { persistent, ok } = vault.state();
  if (!ok || persistent || !vault.canAskToStay()) return null;
  return bigButton(t("Ask the browser never to clear it"), () => vault.askToStay().then(ctx.redraw), {
    hint: t("It may ask you in its own words: say yes"),
    data: { k: "stay" },
  });
}

function lasting() {
  if (vault.state().persistent) return t("the browser has promised not to clear it");
  return isClearedAfterAWeek()
    ? t("the browser clears it when the page was not opened for seven days: see Settings, home screen")
    : t("the browser may clear it when room runs short");
}

/** @param {Ctx} ctx */
const paper = (ctx) =>
  Object.entries(ctx.night.doc)
    .filter(([, value]) => value !== null && value !== "" && value?.length !== 0)
    .map(([name, value]) => [fieldName(ctx, name), shownValue(ctx, name, value)]);

register("storage", {
  title: () => t("Storage of this phone"),
  draw: (ctx) => [
    note(words(ctx), tone(ctx)),
    h("h2", { text: t("What a night without a network needs") }),
    dl([...offline.pieces(), [t("How long it stays"), lasting()]]),
    stays(ctx),
    h(
      "ul",
      null,
      [
        t("Leave this window open until the record is handed over."),
        t("With a network the record goes to the unit as you enter it."),
        t("Copy the values below to the unit's paper sheet."),
      ].map((text) => h("li", { text })),
    ),
    ctx.night && [h("h2", { text: t("The record so far") }), dl(paper(ctx))],
  ],
  bar: (ctx) =>
    [
      ctx.night?.doc.started_at && { label: t("Send what there is now"), tap: () => ctx.push() },
      {
        label: t("Try the storage again"),
        tap: async () => {
          vault.forgetEvicted();
          await ctx.save();
          ctx.redraw();
        },
      },
    ].filter(Boolean),
});
