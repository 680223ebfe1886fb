/* What is not at its end: said on every screen of the treatment that runs, with the way back to its steps. */

import { eventWords } from "./choices.js";
import { hasFlow, notAtEnd, wayOf, write } from "./flow_state.js";
import { go } from "./router.js";
import { bigButton, note } from "./ui.js";
import { t, timeOf } from "./words.js";

/** An event that has a card alone has no last step: somebody says that it is over. @param {Ctx} ctx */
function overButton(ctx, index) {
  const over = () =>
    ctx.change(t("It is over: the treatment goes on"), (night) =>
      write(night, index, ["went_on"], ctx.now().toISOString()),
    );
  return bigButton(t("It is over: the treatment goes on"), over, { data: { k: `over-${index}` } });
}

/** Each event that is not at its end, newest first. @param {Ctx} ctx */
export const notAtEndNotes = (ctx) =>
  notAtEnd(ctx)
    .reverse()
    .map((index) => {
      const event = ctx.night.doc.events[index];
      const [name, ...params] = /** @type {string[]} */ (wayOf(ctx.kit, event));
      return note(
        t("{what} since {time}: not at its end.", { what: eventWords(ctx.kit, event.kind), time: timeOf(event.at) }),
        "care",
        bigButton(t("Go on with the steps"), () => go(name, ...params), {
          tone: "danger",
          data: { k: `flow-${index}` },
        }),
        hasFlow(ctx.kit, event.kind) ? null : overButton(ctx, index),
      );
    });
