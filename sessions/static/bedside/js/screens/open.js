/* Goes on with the night that an address names: of this phone, open at the unit, or fetched to be corrected. */

import { register } from "../router.js";
import { bigButton, h, note } from "../ui.js";
import { call } from "../wire.js";
import { t } from "../words.js";

let tried = "";
let failed = "";

/** @param {Ctx} ctx */
async function find(ctx, id) {
  tried = id;
  failed = "";
  if (!ctx.open(id)) {
    const answer = await call(`/api/v1/treatments/${id}/`, { account: ctx.kit.account.id });
    if (answer.kind === "ok") ctx.open(id, answer.data);
    else
      failed =
        answer.kind === "unreachable"
          ? t("The unit cannot be reached, and this night is not on this phone.")
          : t("There is no such night that you may see.");
  }
  if (failed) return ctx.redraw();
  tried = "";
  ctx.go(ctx.night.stage === "before" || ctx.night.stage === "running" ? "tonight" : "summary");
}

register("open", {
  title: () => t("This night"),
  draw: (ctx, [id]) => {
    if (ctx.kit?.patient && tried !== id) setTimeout(() => find(ctx, id));
    return failed
      ? [note(failed, "care"), bigButton(t("Try again"), () => find(ctx, id))]
      : h("p", { class: "soft", text: t("One moment …") });
  },
  bar: () => [{ label: t("To tonight"), go: "tonight", tone: "plain" }],
});
