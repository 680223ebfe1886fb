/* Words from the unit. Not for anything urgent, in either direction. */

import { seen, unseen } from "../acknowledging.js";
import { callButtons } from "../calls.js";
import { looksNext } from "../opening.js";
import { register } from "../router.js";
import { h, note } from "../ui.js";
import { dayOf, t, timeOf } from "../words.js";

/** @param {Ctx} ctx */
async function readAll(ctx) {
  for (const message of unseen(ctx.kit))
    await seen(ctx, message, t("Message of {day} was read", { day: dayOf(message.at) }));
  ctx.go("tonight");
}

const letter = (fresh) => (message) =>
  h(
    "article",
    { class: `letter${fresh.includes(message) ? " fresh" : ""}` },
    h("h2", { text: `${message.from}, ${dayOf(message.at)}, ${timeOf(message.at)}` }),
    h("p", { class: "as-written", text: message.words }),
  );

/** @param {Ctx} ctx */
function draw(ctx) {
  const messages = ctx.kit.messages ?? [];
  return [
    messages.length ? messages.map(letter(unseen(ctx.kit))) : note(t("No new messages.")),
    note(looksNext(ctx.kit, ctx.now())),
    h("p", { class: "soft", text: t("To answer, or if it is urgent, call the unit.") }),
    ...callButtons(ctx.kit.unit, "calm"),
  ];
}

/** @param {Ctx} ctx */
function bar(ctx) {
  return unseen(ctx.kit).length
    ? [{ label: t("I have read this"), tap: () => readAll(ctx) }]
    : [{ label: t("Tonight"), go: "tonight" }];
}

register("messages", { title: () => t("Messages"), draw, bar, toUnit: true });
