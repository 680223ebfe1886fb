/* No treatment today: why, said in one touch, offline too; the unit sees it and nobody calls it missing. */

import { callButtons } from "../calls.js";
import { reasons, saidToday, saidWords, today } from "../left_out.js";
import * as outbox from "../outbox.js";
import { register, replace } from "../router.js";
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

register("nottonight", {
  title: () => t("No treatment today"),
  draw: (ctx) => {
    const said = saidToday(ctx);
    if (said)
      return [
        note(saidWords(said)),
        bigButton(t("Take it back: there is one"), () => takeBack(ctx), { data: { k: "take-it-back" } }),
      ];
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
