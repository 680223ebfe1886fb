/* What to do when the phone does not keep the record: said plainly, with the record in sight for paper. */

import { fieldName, shownValue } from "../fields.js";
import { register } from "../router.js";
import { dl, h, note } from "../ui.js";
import * as vault from "../vault.js";
import { t } from "../words.js";

function words() {
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
  if (state.evicted)
    return t(
      "The browser cleared what was kept here, perhaps because room ran short or the page was not used for long. " +
        "What the unit has is safe; a night that was not sent is gone.",
    );
  return t("This phone keeps the record. Nothing needs to be done.");
}

/** @param {Ctx} ctx */
const paper = (ctx) =>
  Object.entries(ctx.night.doc)
    .filter(([, value]) => value !== null && value !== "" && value?.length !== 0)
    .map(([name, value]) => [fieldName(ctx, name), shownValue(ctx, name, value)]);

register("storage", {
  title: () => t("Storage of this phone"),
  draw: (ctx) => [
    note(words(), vault.state().ok && !vault.state().evicted ? "good" : "stop"),
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
