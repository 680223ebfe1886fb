/* No treatment today: why, said in one touch, offline too; the unit sees it and nobody calls it missing. */

import { callButtons } from "../calls.js";
import { look, toldOfDone } from "../done_already.js";
import { isLive } from "../draft.js";
import { reasons, saidToday, saidWords, today } from "../left_out.js";
import * as outbox from "../outbox.js";
import { register, replace } from "../router.js";
import { treatedToday } from "../treated.js";
import { bigButton, h, note, toast } from "../ui.js";
import { setPlain } from "../vault.js";
import { capital, t } from "../words.js";

const addressOf = (id) => `/api/v1/bedside/left-out/${id}/`;

/** @param {Ctx} ctx @param {string} reason */
async function say(ctx, reason) {
  const said = { id: crypto.randomUUID(), day: today(ctx), reason, patient: ctx.kit.patient.id };
  setPlain("leftout", said);
  const words = t("No treatment today: {why}", { why: reasons()[reason] });
  const body = { patient: said.patient, day: said.day, reason, at: new Date().toISOString() };
  await outbox.errand({ method: "PUT", url: addressOf(said.id), body, words });
  replace("tonight");
  toast(words, () => takeBack(ctx));
}

/** @param {Ctx} ctx */
async function takeBack(ctx) {
  const said = saidToday(ctx);
  if (!said) return;
  setPlain("leftout", { ...said, day: today(ctx), patient: ctx.kit.patient.id, gone: true });
  const words = t("No treatment today: taken back");
  await outbox.errand({ method: "DELETE", url: addressOf(said.id), words, instead: true });
  ctx.redraw();
  toast(words, null);
}

/** There is a treatment of today: that there is none cannot be said. @param {Ctx} ctx */
const there = (ctx, done) => [
  note(t("There is a treatment today, so it cannot be said that there is none."), "care"),
  h("p", { text: toldOfDone(done) }),
  bigButton(t("Look at it"), () => look(ctx, done), { tone: "go", data: { k: "look-at-it" } }),
  ctx.night?.id === done.id && isLive(ctx.night)
    ? bigButton(t("Begun by mistake"), () => ctx.go("mistake"), { data: { k: "mistake" } })
    : h("p", { text: t("Not right, or begun by mistake? Tell the unit.") }),
  callButtons(ctx.kit.unit, "calm"),
];

/** @param {Ctx} ctx */
const begun = (ctx) => [
  note(t("A treatment is begun on this phone. Take it back first, or go on with it."), "care"),
  bigButton(t("Begun by mistake"), () => ctx.go("mistake"), { data: { k: "mistake" } }),
];

register("nottonight", {
  toUnit: true,
  title: () => t("No treatment today"),
  draw: (ctx) => {
    const said = saidToday(ctx);
    if (said)
      return [
        note(saidWords(said)),
        bigButton(t("Take it back: there is one"), () => takeBack(ctx), { data: { k: "take-it-back" } }),
      ];
    const [done] = treatedToday(ctx);
    if (done) return there(ctx, done);
    if (isLive(ctx.night) && !ctx.night.practice) return begun(ctx);
    return [
      h("p", { text: t("Why? The unit sees the answer and looks for no record of today. Nobody calls by itself.") }),
      h(
        "div",
        { class: "rows" },
        Object.entries(reasons()).map(([reason, label]) =>
          bigButton(capital(label), () => say(ctx, reason), { data: { k: `why-${reason}` } }),
        ),
      ),
      note(t("Short of breath, swollen, or a second treatment left out: call your unit now."), "care"),
      callButtons(ctx.kit.unit, "on_call"),
    ];
  },
  bar: () => [{ label: t("To tonight"), go: "tonight", tone: "plain" }],
});
