/*
 * After a stop of the fluid removal: what is left, in which time, and what rate that would mean. It tells, it orders
 * nothing.
 */

import { instant } from "../clock.js";
import { course, minuteOf } from "../course.js";
import { limitsOf, readingNow, takeNumber } from "../draft.js";
import * as fluid from "../fluid.js";
import { withUnit } from "../numbers.js";
import { askNumber } from "../pad.js";
import { bigButton, dl, note } from "../ui.js";
import { fmt, hours, t, timeOf } from "../words.js";

/** The machine's figure since the stop, newest last; times of readings have no seconds. @param {Ctx} ctx */
function offSince(ctx, event) {
  const from = minuteOf(new Date(event.paused_at ?? event.at));
  return ctx.night.doc.readings.filter((row) => row.uf_volume_l != null && instant(row.at) >= from).at(-1) ?? null;
}

/** @param {Ctx} ctx */
async function askOff(ctx) {
  const limits = limitsOf(ctx.kit, "readings.uf_volume_l");
  const litres = await askNumber({ label: t(limits?.label ?? ""), limits });
  if (typeof litres !== "number") return;
  ctx.change(t("Fluid off so far: {value}", { value: withUnit(litres, "L") }), (night) => {
    const index = readingNow(night, minuteOf(ctx.now()), "uf_volume_l");
    takeNumber(night, `readings[${index}].uf_volume_l`, litres, limits);
  });
}

/** @param {Ctx} ctx */
const restOf = (ctx, off) =>
  fluid.rest({
    planned: ctx.night.doc.planned_uf_l ?? null,
    off,
    minutes: course(ctx.night, ctx.kit, ctx.now()).left,
    target: ctx.kit.prescription?.target_weight_kg ?? null,
    limit: ctx.kit.prescription?.uf_rate_limit_ml_kg_h ?? null,
  });

const whyWords = () => ({
  no_plan: t("This record has no plan for the fluid: ask the unit how much and how fast."),
  not_known: t("How much is off is not known: read it from the machine."),
  no_time: t("No time is left in the plan: ask the unit."),
  odd: t("These numbers give no plan: ask the unit."),
  done: t("All that was planned is off."),
});

/** @param {any} rest */
function judged(rest) {
  if (rest.why) return note(whyWords()[rest.why], rest.why === "done" ? "plain" : "care");
  if (!rest.over) return note(t("That is within your limit of {limit} mL/kg/h.", { limit: fmt(rest.limit) }));
  return note(
    t("That is above your limit of {limit} mL/kg/h. Do not set it so fast: ask the unit.", { limit: fmt(rest.limit) }),
    "care",
    note(
      t("At the limit {most} L would come off in this time, and {stays} L would stay for next time.", {
        most: fmt(rest.most, 2),
        stays: fmt(rest.stays, 2),
      }),
    ),
  );
}

/** The fluid and the time that are left, for whoever is asked on the telephone. @param {Ctx} ctx */
export function planPanel(ctx, event) {
  const read = offSince(ctx, event);
  const rest = restOf(ctx, read?.uf_volume_l ?? null);
  const { left } = course(ctx.night, ctx.kit, ctx.now());
  return [
    dl([
      [t("Fluid off so far"), read ? `${withUnit(read.uf_volume_l, "L")}, ${timeOf(read.at)}` : t("not read yet")],
      [t("Planned"), ctx.night.doc.planned_uf_l == null ? null : withUnit(ctx.night.doc.planned_uf_l, "L")],
      rest.left == null ? null : [t("Left to take off"), `${fmt(rest.left, 2)} L`],
      left == null ? null : [t("Time left"), t("{hours} h", { hours: hours(Math.max(0, left)) })],
      rest.rate == null ? null : [t("That would be"), `${fmt(rest.perHour, 0)} mL/h, ${fmt(rest.rate, 1)} mL/kg/h`],
    ]),
    bigButton(t("Read the fluid off from the machine"), () => askOff(ctx), { data: { k: "read-off" } }),
    judged(rest),
  ];
}
