/* The whole night on one screen: what came out, what is unusual, what is not known; and the hand-over. */

import { planChoices } from "../choices.js";
import { setMoment } from "../draft.js";
import { fieldName } from "../fields.js";
import { momentRow } from "../moment_row.js";
import { lastPost } from "../nights_before.js";
import { register } from "../router.js";
import { blocking, figures, missing, unusual } from "../sum_up.js";
import { bigButton, dl, h, note } from "../ui.js";
import { dayOf, fmt, hours, t, timeOf, tn } from "../words.js";
import { screenOfField } from "./queue.js";

const pair = (systolic, diastolic) =>
  systolic == null && diastolic == null ? null : `${fmt(systolic)} / ${fmt(diastolic)}`;

/** @param {Ctx} ctx */
function handOver(ctx) {
  const { id } = ctx.night;
  ctx.handOver();
  ctx.go("answer", id);
}

/** @param {Ctx} ctx */
function times(ctx) {
  const { doc } = ctx.night;
  if (ctx.night.plan.paper)
    return dl([
      [t("Start"), doc.started_at && timeOf(doc.started_at)],
      [t("End"), doc.ended_at && timeOf(doc.ended_at)],
      [t("Source"), t("Entered from paper")],
    ]);
  const row = (path, label) =>
    momentRow(path, label, doc[path] ?? ctx.now().toISOString(), (iso) =>
      ctx.change(`${label}: ${timeOf(iso)}`, (night) => setMoment(night, path, iso)),
    );
  return h("div", { class: "pair" }, row("started_at", t("Start")), row("ended_at", t("End")));
}

/** @param {Ctx} ctx */
function outcome(ctx) {
  const { doc } = ctx.night;
  const { minutes, litres, rate, off, gained } = figures(ctx.night, ctx.kit, lastPost(ctx));
  const choice = planChoices().find((each) => each.value === doc.plan_choice)?.label;
  return dl([
    [t("Length"), minutes === null ? null : hours(minutes), "h"],
    [t("Weight before and after"), `${fmt(doc.pre_weight_kg)} → ${fmt(doc.post_weight_kg)}`, "kg"],
    off !== null && [t("Off the target weight"), off, "kg", 1],
    gained && [ctx.kit.computed.gain.label, gained.kg, "kg", 1],
    [t("Fluid removed (UF)"), litres, "L", 2],
    [t("UF rate"), rate, "mL/kg/h", 1],
    choice && [t("Plan"), `${choice}: ${fmt(doc.planned_uf_l)} L, ${hours(doc.planned_minutes)} h`],
    [t("Pressure before, sitting"), pair(doc.pre_systolic, doc.pre_diastolic), "mmHg"],
    [t("Pressure after, sitting"), pair(doc.post_systolic, doc.post_diastolic), "mmHg"],
    [t("Pressure after, standing"), pair(doc.post_standing_systolic, doc.post_standing_diastolic), "mmHg"],
    [
      t("Noted"),
      [
        tn("{n} reading", "{n} readings", doc.readings.length),
        tn("{n} event", "{n} events", doc.events.length),
        tn("{n} medicine", "{n} medicines", doc.medicines.length),
      ].join(", "),
    ],
  ]);
}

const list = (items) =>
  h(
    "ul",
    null,
    items.map((words) => h("li", { text: words })),
  );

/** @param {Ctx} ctx */
function refused(ctx) {
  const go = (field) => () => ctx.go(screenOfField(field, ctx.night));
  return ctx.night.faults.map(({ field, message }) =>
    bigButton(message, go(field), { tone: "care", hint: field ? fieldName(ctx, field) : null }),
  );
}

/** @param {Ctx} ctx */
function draw(ctx) {
  if (!ctx.night) return note(t("No treatment is open."));
  const stops = blocking(ctx.night);
  const odd = unusual(ctx.night, ctx.kit, lastPost(ctx));
  const open = missing(ctx.night, ctx.kit);
  return [
    ctx.night.doc.started_at && h("p", { class: "soft", text: dayOf(ctx.night.doc.started_at) }),
    stops.length > 0 && note(t("This has to be put right first:"), "stop", list(stops)),
    times(ctx),
    refused(ctx),
    outcome(ctx),
    odd.length
      ? note(t("Unusual; the unit sees it marked:"), "care", list(odd))
      : note(t("Nothing unusual in it."), "good"),
    open.length > 0 &&
      note(t("Not known. You may hand over without; the unit sees that it is not known."), "plain", list(open)),
  ];
}

/** @param {Ctx} ctx */
function bar(ctx) {
  if (!ctx.night) return [{ label: t("Tonight"), go: "tonight" }];
  const stops = blocking(ctx.night);
  return [
    {
      label: t("Hand over to the unit"),
      tap: () => handOver(ctx),
      disabled: stops.length > 0,
      hint: stops[0] ?? (ctx.online() ? null : t("It waits on this phone for the network")),
    },
    {
      label: t("Back, to change something"),
      go: ctx.night.plan.paper ? "paper" : ctx.night.doc.ended_at ? "finish" : "running",
    },
  ];
}

register("summary", { title: () => t("Look it over"), draw, bar });
