/*
 * What changed in the prescription since this person last read it: to be acknowledged once, with or without a network.
 */

import { acknowledge, changesUnread } from "../acknowledging.js";
import { callButtons } from "../calls.js";
import { takeVersion } from "../draft.js";
import { register } from "../router.js";
import { h, note } from "../ui.js";
import { dayOf, t } from "../words.js";

/** @param {Ctx} ctx */
const begun = (ctx) => ctx.night && ctx.night.stage === "before";

/** A night that was begun on the version before goes on with this one: the person has read it. @param {Ctx} ctx */
function goOnWithVersion(ctx) {
  const version = ctx.kit.prescription?.version;
  if (version === undefined || !ctx.night || ctx.night.stage === "handed" || ctx.night.prescriptionVersion === version)
    return;
  takeVersion(ctx.night, version);
  ctx.save();
}

/** @param {Ctx} ctx */
async function read(ctx) {
  await acknowledge(ctx, t("Prescription {n} was read", { n: ctx.kit.prescription?.version }));
  goOnWithVersion(ctx);
  ctx.go(begun(ctx) ? "checks" : "tonight");
}

const line = ({ label, before, after }) =>
  h(
    "li",
    null,
    h("strong", { text: label }),
    h(
      "p",
      null,
      h("span", { class: "was", text: t("was {value}", { value: before }) }),
      " → ",
      h("b", { text: t("now {value}", { value: after }) }),
    ),
  );

/** @param {Ctx} ctx */
function draw(ctx) {
  const { changes, prescription } = ctx.kit;
  if (!changes?.lines.length || !prescription)
    return note(t("Nothing has changed since you last read the prescription."), "good");
  const from = t("Version {n}, signed by {who}, in force from {day}.", {
    n: prescription.version,
    who: prescription.signed_by,
    day: dayOf(prescription.in_force_from),
  });
  return [
    h("p", { text: from }),
    h("ul", { class: "changes" }, changes.lines.map(line)),
    prescription.note && note(prescription.note),
    h("p", { class: "soft", text: t("If anything is unclear, ask the unit before you begin.") }),
    ...callButtons(ctx.kit.unit, "calm"),
  ];
}

/** @param {Ctx} ctx */
function bar(ctx) {
  if (changesUnread(ctx)) return [{ label: t("I have read this"), tap: () => read(ctx) }];
  const night =
    ctx.night && ctx.night.stage !== "handed" && ctx.night.prescriptionVersion !== ctx.kit.prescription?.version;
  const next = begun(ctx) ? "checks" : "tonight";
  return [
    {
      label: t("Go on"),
      tap: () => {
        if (night) goOnWithVersion(ctx);
        ctx.go(next);
      },
    },
  ];
}

register("changes", { title: () => t("What changed"), draw, bar, toUnit: true });
