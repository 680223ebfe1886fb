/* What is due around the treatment: noted here when it was done, with or without a network. */

import { noteSurroundings } from "../acknowledging.js";
import { register } from "../router.js";
import { bigButton, h, note, toast } from "../ui.js";
import { dayOf, plainDay, t } from "../words.js";

/** @param {Ctx} ctx */
async function done(ctx, item) {
  const what = item.kind === "delivery" ? { kind: "delivery", delivery: item.id } : { kind: item.id };
  await noteSurroundings(
    ctx,
    "done",
    { id: crypto.randomUUID(), ...what, done_at: ctx.now().toISOString() },
    t("{what}: done", { what: item.label }),
    [item],
  );
  ctx.redraw();
  toast(t("{what}: noted", { what: item.label }));
}

const FORMS = {
  done: [() => t("Done now"), done],
  water: [() => t("Enter the result"), (ctx, item) => ctx.go("surroundings", "water", item.id)],
  count: [() => t("Count now"), (ctx) => ctx.go("surroundings", "count")],
};

/** @param {Ctx} ctx */
function card(ctx, item) {
  const when = item.overdue
    ? t("Overdue since {day}", { day: plainDay(item.due_on) })
    : t("By {day}", { day: plainDay(item.due_on) });
  const [label, act] = FORMS[item.form] ?? [];
  return h(
    "section",
    { class: "card" },
    h("h2", { text: item.label }),
    h("p", null, h("strong", { text: when }), ` ${item.words}`),
    item.noted
      ? note(t("Noted. It goes to the unit when there is a network."), "good")
      : act &&
          bigButton(label(), () => act(ctx, item), {
            data: { k: `${item.kind}-${item.id}` },
            aria: { label: `${item.label}: ${label()}` },
          }),
  );
}

/** @param {Ctx} ctx */
function draw(ctx) {
  const items = ctx.kit?.due ?? [];
  return items.length
    ? items.map((item) => card(ctx, item))
    : note(t("Nothing is due, as the unit knew on {day}.", { day: dayOf(ctx.kit.kept_at) }));
}

register("due", {
  toUnit: true,
  title: () => t("What is due"),
  draw,
  bar: (ctx) => [{ label: ctx.night && ctx.night.stage !== "handed" ? t("Back") : t("Tonight"), go: "tonight" }],
});
