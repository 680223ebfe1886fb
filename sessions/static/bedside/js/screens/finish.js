/*
 * Ending a treatment: blood back, needles out, weight and pressure, the machine's totals, the rest. The main action is
 * always what comes next.
 */

import { askAll, labelOf, textField, unset } from "../ask.js";
import { bleedingRows, outSince, pull, siteName, stillOpen, stopped } from "../bleeding.js";
import { measureRow } from "../bluetooth/measure.js";
import { dialyserLooks, yesNo } from "../choices.js";
import { minuteOf } from "../course.js";
import { askedAt, dropRow, putRow, setMoment, stampStep, toggleField } from "../draft.js";
import { momentRow } from "../moment_row.js";
import { lastTime } from "../nights_before.js";
import { askNumber, numberField } from "../pad.js";
import { coded, say } from "../ready.js";
import { register } from "../router.js";
import { bigButton, byId, choiceRow, h, note } from "../ui.js";
import { fmt, t, timeOf, tn } from "../words.js";
import { openChecks } from "./checks.js";
import { standingDrop } from "./weigh.js";

const ENDED = "ended";
const FLUID = ["rinse_back_l", "intake_l"];
/** What is taken after, and what the machine shows, in the order of asking. @param {Ctx} ctx */
const body = (ctx) => askedAt(ctx.kit, "after");
const MACHINE = ["uf_removed_l", "blood_processed_l"];
/** What the machine shows besides: its Kt/V, and whatever the unit declares. @param {Ctx} ctx */
const besides = (ctx) => askedAt(ctx.kit, "fluid").filter((path) => ![...FLUID, ...MACHINE].includes(path));

/** @param {Ctx} ctx */
function end(ctx) {
  ctx.change(say(ctx.kit, ENDED), (night) => {
    setMoment(night, "ended_at", minuteOf(ctx.now()));
    stampStep(night, ENDED, coded(ENDED), ctx.now().toISOString());
  });
}

/** What was planned stands as the last value: one touch takes it where it came true. @param {Ctx} ctx */
const lastOf = (ctx) => (path) =>
  ({
    rinse_back_l: ctx.night.doc.planned_rinse_back_l,
    intake_l: ctx.night.doc.planned_intake_l,
    uf_removed_l: ctx.night.doc.readings.at(-1)?.uf_volume_l,
  })[path] ?? lastTime(ctx)(path);

/** @param {Ctx} ctx */
function numbers(ctx, paths) {
  return paths.map((path) => numberField(ctx, path, { last: lastOf(ctx)(path) }));
}

/* Stock ------------------------------------------------------------------------------------------- */

const usual = (item) => Math.round(item.per_treatment ?? 0);
/** @param {Ctx} ctx */
const counted = (ctx) => (ctx.kit.stock ?? []).filter((item) => usual(item) > 0);
/** @param {Ctx} ctx */
const usedOf = (ctx, item) => ctx.night.doc.used_stock.find((row) => row.item === item.id)?.count ?? null;

/** @param {Night} night */
function use(night, item, count) {
  dropRow(night, "used_stock", "item", item.id);
  if (count !== null) putRow(night, "used_stock", "item", { item: item.id, count });
}

/** @param {Ctx} ctx */
async function askUsed(ctx, item) {
  /** @type {Limits} */
  const limits = { label: item.name, unit: item.unit ?? "", hard: [0, 1000], usual: [0, 1000], step: 1 };
  const count = await askNumber({ label: item.name, limits, value: usedOf(ctx, item), last: usual(item) });
  if (count !== undefined)
    ctx.change(t("{item}: {n} used", { item: item.name, n: fmt(count) }), (night) =>
      use(night, item, count === null ? null : Math.round(count)),
    );
}

/** @param {Ctx} ctx */
function stockRow(ctx, item) {
  const count = usedOf(ctx, item);
  return h(
    "button",
    { type: "button", class: "field", data: { k: `stock-${item.id}` }, on: { click: () => askUsed(ctx, item) } },
    h("span", { class: "label" }, item.name, h("small", { text: t("usually {n}", { n: fmt(usual(item)) }) })),
    h("b", { text: count === null ? t("not yet") : fmt(count) }),
  );
}

/** @param {Ctx} ctx */
const asUsual = (ctx) =>
  ctx.change(t("Used as usual"), (night) => {
    for (const item of counted(ctx)) use(night, item, usual(item));
  });

/** @param {Ctx} ctx */
function stock(ctx) {
  const items = counted(ctx);
  if (!items.length) return null;
  const done = items.every((item) => usedOf(ctx, item) !== null);
  return [
    h("h2", { text: t("Used stock") }),
    !done &&
      bigButton(t("Used as usual"), () => asUsual(ctx), {
        hint: items.map((item) => `${fmt(usual(item))} ${item.name}`).join(", "),
        data: { k: "usual" },
      }),
    h(
      "details",
      { open: done },
      h("summary", { text: t("One by one") }),
      items.map((item) => stockRow(ctx, item)),
    ),
  ];
}

/* What comes next ---------------------------------------------------------------------------------- */

/** @param {Ctx} ctx */
const asks = (ctx, paths) => ({
  label: t("Enter: {what}", { what: labelOf(ctx, unset(ctx, paths)[0]) }),
  tap: () => askAll(ctx, paths, lastOf(ctx)),
});

/** @param {Ctx} ctx */
function nextStep(ctx) {
  const { doc } = ctx.night;
  if (!doc.ended_at)
    return {
      label: t("Blood is back: end now"),
      tap: () => end(ctx),
      hint: t("Rinse back first, as you were trained"),
    };
  const open = stillOpen(ctx);
  const running = open.find(({ row }) => outSince(ctx, row));
  if (running)
    return {
      label: t("{site}: bleeding has stopped", { site: siteName(ctx, running.row) }),
      tap: () => stopped(ctx, running),
    };
  if (open.length)
    return {
      label: t("{site}: needle is out now", { site: siteName(ctx, open[0].row) }),
      tap: () => pull(ctx, open[0]),
    };
  for (const paths of [body(ctx), MACHINE, FLUID]) if (unset(ctx, paths).length) return asks(ctx, paths);
  if (!doc.dialyser_look || doc.disinfected === null)
    return {
      label: t("Next: dialyser and machine"),
      tap: () => byId("machine").scrollIntoView({ block: "center" }),
    };
  if (openChecks(ctx, "after").length) return { label: t("Next: checks after"), go: ["checks", "after"] };
  return { label: t("Next: look it over"), go: "summary" };
}

/** @param {Ctx} ctx */
function ended(ctx) {
  const { doc } = ctx.night;
  if (!doc.ended_at)
    return note(
      doc.started_at
        ? t("The treatment is running since {time}.", { time: timeOf(doc.started_at) })
        : t("The treatment has no start yet."),
    );
  return momentRow("end", t("Ended"), doc.ended_at, (iso) =>
    ctx.change(t("End: {time}", { time: timeOf(iso) }), (night) => setMoment(night, "ended_at", iso)),
  );
}

/** @param {Ctx} ctx */
function checks(ctx) {
  const items = (ctx.kit.checklist?.items ?? []).filter((item) => item.part === "after");
  if (!items.length) return null;
  const left = openChecks(ctx, "after").length;
  const words = left ? tn("{n} is open", "{n} are open", left) : t("all answered");
  return bigButton(t("Checks after"), () => ctx.go("checks", "after"), { hint: words, data: { k: "checks-after" } });
}

/** @param {Ctx} ctx */
function draw(ctx) {
  if (!ctx.night) return note(t("No treatment is open."));
  const pick = (label, path) => (value) => ctx.change(label, (night) => toggleField(night, path, value));
  const drop = standingDrop(ctx.night.doc, "post");
  const bleeding = ctx.night.doc.ended_at ? bleedingRows(ctx) : [];
  return [
    ended(ctx),
    bleeding.length > 0 && [h("h2", { text: t("Needles out") }), bleeding],
    h("h2", { text: t("Weight and pressure after") }),
    numbers(ctx, body(ctx)),
    drop && note(drop, "care"),
    measureRow(ctx, "weight", { weight: "post_weight_kg" }),
    measureRow(ctx, "pressure", { systolic: "post_systolic", diastolic: "post_diastolic", pulse: "post_pulse" }),
    h("h2", { text: t("What the machine says") }),
    numbers(ctx, [...MACHINE, ...besides(ctx)]),
    h("h2", { text: t("Fluid that went in") }),
    numbers(ctx, FLUID),
    h("h2", { id: "machine", text: t("Dialyser and machine") }),
    choiceRow(
      t("Look of the dialyser"),
      dialyserLooks(),
      ctx.night.doc.dialyser_look,
      pick(t("Look of the dialyser"), "dialyser_look"),
    ),
    choiceRow(
      t("Machine disinfected"),
      yesNo(),
      ctx.night.doc.disinfected,
      pick(t("Machine disinfected"), "disinfected"),
    ),
    checks(ctx),
    stock(ctx),
    textField(ctx, "notes", t("Notes"), { hint: t("Anything the unit should know of this night.") }),
  ];
}

/** @param {Ctx} ctx */
function bar(ctx) {
  if (!ctx.night) return [{ label: t("Tonight"), go: "tonight" }];
  const next = nextStep(ctx);
  return [
    next,
    next.go !== "summary" && ctx.night.doc.ended_at && { label: t("Look it over"), go: "summary" },
    !ctx.night.doc.ended_at && ctx.night.doc.started_at && { label: t("Back to the treatment"), go: "running" },
  ];
}

register("finish", { title: () => t("Finish"), draw, bar });
