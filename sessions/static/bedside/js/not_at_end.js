/* What is not at its end: said on every screen of the treatment that runs, with the way back to its steps. */

import { callButtons } from "./calls.js";
import { eventWords } from "./choices.js";
import { addressOf, hasFlow, notAtEnd, wayOf, write } from "./flow_state.js";
import { say } from "./ready.js";
import { go } from "./router.js";
import { bigButton, h, note } from "./ui.js";
import { t, timeOf } from "./words.js";

/** Of which event, by its name, it is asked whether it may go on; drawn anew after each touch. */
let asked = "";
const nameOf = (event) => addressOf(event).join("/");

/** The card says to call the unit first: that it said “go on” is what ends the event. @param {Ctx} ctx */
function mayGoOn(ctx, index) {
  const words = say(ctx.kit, "unit_go_on");
  const over = () => {
    asked = "";
    ctx.change(words, (night) => write(night, index, ["unit", "went_on"], ctx.now().toISOString()));
  };
  return h(
    "div",
    { role: "group", aria: { label: t("Has the unit said that you may go on?") } },
    h("p", { class: "label", text: t("Has the unit said that you may go on?") }),
    ...callButtons(ctx.kit?.unit, "on_call"),
    bigButton(words, over, { data: { k: `may-${index}` } }),
    bigButton(t("No: to the end of the treatment"), () => go("finish"), { data: { k: `end-${index}` } }),
  );
}

/**
 * An event that has a card alone has no last step: somebody says that it is over, and who allowed it.
 * @param {Ctx} ctx
 */
function overButton(ctx, index) {
  const name = nameOf(ctx.night.doc.events[index]);
  if (asked === name) return mayGoOn(ctx, index);
  const ask = () => {
    asked = name;
    ctx.redraw();
  };
  return bigButton(t("It is over"), ask, { data: { k: `over-${index}` } });
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
