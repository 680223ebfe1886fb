/* Two versions of one night, side by side, field by field; one touch says which holds. */

import { differences, documentOf } from "../draft.js";
import { fieldName, shownValue, whenWords } from "../fields.js";
import * as outbox from "../outbox.js";
import { register } from "../router.js";
import { h, note } from "../ui.js";
import { t } from "../words.js";

/** @param {Ctx} ctx */
const nightOf = (ctx, id) => ctx.nights.find((night) => night.id === id) ?? ctx.night;

/** @param {Ctx} ctx @param {Night} night */
async function settle(ctx, night, choice) {
  outbox.settle(night, choice, ctx.kit);
  await ctx.save(night);
  if (choice === "mine") await outbox.push();
  ctx.go("queue");
}

register("conflict", {
  title: () => t("Two versions of this night"),
  draw: (ctx, [id]) => {
    const night = nightOf(ctx, id);
    if (!night?.conflict) return note(t("There is only one version of this night now."), "good");
    const cell = (name, value) => h("dd", { text: shownValue(ctx, name, value) });
    const rows = differences(documentOf(night, night.conflict.status), night.conflict);
    /** @param {any[]} difference */
    const side = ([name, mine, theirs]) =>
      h(
        "section",
        { class: "card" },
        h("h2", { text: fieldName(ctx, name) }),
        h(
          "dl",
          null,
          h("div", null, h("dt", { text: t("On this phone") }), cell(name, mine)),
          h("div", null, h("dt", { text: t("At the unit") }), cell(name, theirs)),
        ),
      );
    const by = night.conflict.entered_by?.name;
    return [
      note(
        by
          ? t(
              "{name} changed this night at the unit ({when}) while this phone had another version. Nothing is " +
                "lost: the unit keeps every version.",
              { name: by, when: whenWords(night.conflict.received_at) },
            )
          : t(
              "This night was changed at the unit ({when}) while this phone had another version. Nothing is lost: " +
                "the unit keeps every version.",
              { when: whenWords(night.conflict.received_at) },
            ),
        "care",
      ),
      rows.length ? rows.map(side) : h("p", { text: t("Both say the same.") }),
    ];
  },
  bar: (ctx, [id]) => {
    const night = nightOf(ctx, id);
    if (!night?.conflict) return [{ label: t("Back to the queue"), go: "queue" }];
    return [
      {
        label: t("Mine holds"),
        hint: t("This phone's version goes to the unit"),
        tap: () => settle(ctx, night, "mine"),
        tone: "plain",
      },
      {
        label: t("The unit's holds"),
        hint: t("This phone takes the unit's version"),
        tap: () => settle(ctx, night, "theirs"),
      },
    ];
  },
});
