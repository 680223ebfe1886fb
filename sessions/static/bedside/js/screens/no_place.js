/*
 * No place is left for a needle: whom to call, and the end of a treatment that cannot begin or go on. What was tried
 * stays in the record. `#/noplace/venous` says for which needle.
 */

import { callAction, callButtons } from "../calls.js";
import { useWords } from "../choices.js";
import { beganAt, minuteOf } from "../course.js";
import { setFields, setMoment, stampStep } from "../draft.js";
import { endedEarly, noneLeft, noOtherPlace } from "../flow_needle.js";
import { write } from "../flow_state.js";
import { placesLeft } from "../needle_sites.js";
import { coded, say } from "../ready.js";
import { register } from "../router.js";
import { bigButton, h, note } from "../ui.js";
import { t, timeOf } from "../words.js";

const NONE = "no_other_place";
const KIND = "infiltration";

/** @param {Night} night @param {Iso} iso */
function closeSwelling(night, index, iso) {
  noOtherPlace(night, index);
  write(night, index, ["ended"], iso);
}

/** @param {Ctx} ctx */
function end(ctx) {
  ctx.change(t("Ended: no other place for a needle"), (night) => {
    setFields(night, { started_at: beganAt(ctx.night, ctx.now()) });
    stampStep(night, NONE, coded(NONE), ctx.now().toISOString());
    setMoment(night, "ended_at", minuteOf(ctx.now()));
    endedEarly(night, KIND);
    for (const [index, event] of night.doc.events.entries())
      if (event.kind === KIND && !event.outcome) closeSwelling(night, index, ctx.now().toISOString());
  });
  ctx.go("finish");
}

/** @param {Ctx} ctx */
function draw(ctx, [use]) {
  const { night } = ctx;
  if (!night) return note(t("No treatment is open."));
  const runs = night.doc.started_at;
  return [
    use ? h("p", { class: "soft" }, h("b", { text: useWords(use) })) : null,
    h("p", {
      class: "step-words",
      text: runs
        ? t("Stop the blood pump, clamp both lines, and call the unit.")
        : t("Do not begin with a needle that is not right. Call the unit."),
    }),
    placesLeft(ctx.kit, night, use).length ? null : note(noneLeft()),
    runs
      ? h("p", { text: t("Ask whether the blood may come back, and how. Never force it.") })
      : h("p", { text: t("A needle that is in comes out as you were trained: press until it has stopped.") }),
    h("p", {
      text: t("Swelling that grows fast, or a hand that is cold, numb or white: call the emergency number."),
    }),
    ...callButtons(ctx.kit.unit, "on_call"),
    bigButton(t("There is a place after all"), () => ctx.go("access", use), { data: { k: "after-all" } }),
    h("p", {
      class: "soft",
      text: t("Ended, the record says: begun {time}, ended now, no other place left for a needle. The unit sees it.", {
        time: timeOf(beganAt(ctx.night, ctx.now())),
      }),
    }),
  ];
}

/** @param {Ctx} ctx */
function bar(ctx) {
  if (!ctx.night) return [{ label: t("Tonight"), go: "tonight" }];
  return [callAction(ctx.kit.unit, "on_call"), { label: t("End: needles out"), tap: () => end(ctx), tone: "plain" }];
}

register("noplace", {
  title: (ctx) => say(ctx.kit, NONE),
  draw,
  bar,
});
