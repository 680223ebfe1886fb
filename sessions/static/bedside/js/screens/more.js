/* The rest of the bedside, one touch each, and the steps back and forward. */

import { isLive } from "../draft.js";
import { practise } from "../practice.js";
import { register } from "../router.js";
import { bigButton, h } from "../ui.js";
import { t } from "../words.js";

const places = () => [
  ["tonight", t("Tonight")],
  ["nights", t("Nights")],
  ["trends", t("Trends")],
  ["messages", t("Messages from the unit")],
  ["surroundings", t("Water, supplies and machine")],
  ["takeout", t("Take the record out")],
  ["helper", t("I help: what happens now")],
  ["queue", t("What waits to be sent")],
  ["settings", t("Settings")],
];

register("more", {
  title: () => t("More"),
  draw: (ctx) => {
    const [past, future] = [ctx.night?.past.at(-1), ctx.night?.future.at(-1)];
    return [
      (past || future) &&
        h(
          "div",
          { class: "list" },
          past && bigButton(t("Undo: {what}", { what: past.label }), ctx.undo, { data: { k: "undo-step" } }),
          future && bigButton(t("Do again: {what}", { what: future.label }), ctx.redo, { data: { k: "redo-step" } }),
        ),
      h(
        "div",
        { class: "rows" },
        places().map(([name, label]) => bigButton(label, () => ctx.go(name))),
        ctx.kit?.patient &&
          !isLive(ctx.night) &&
          bigButton(t("Practise a treatment"), () => practise(ctx), {
            hint: t("All screens, nothing is sent"),
            data: { k: "practise" },
          }),
        ctx.online() &&
          ctx.kit?.urls?.letters &&
          bigButton(
            t("From your nephrologist"),
            () => location.assign(ctx.kit.urls.letters.replace(ctx.kit.urls.placeholder, ctx.kit.patient.id)),
            { data: { k: "told" } },
          ),
        ctx.online() &&
          ctx.kit?.urls?.who_sees &&
          ctx.kit.account.role === "patient" &&
          bigButton(
            t("Who sees your record"),
            () => location.assign(ctx.kit.urls.who_sees.replace(ctx.kit.urls.placeholder, ctx.kit.patient.id)),
            { data: { k: "who-sees" } },
          ),
      ),
    ];
  },
});
