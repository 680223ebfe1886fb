/* Weight and pressure before, expected fluid, and from them the plan: what to take off, how fast, which choice. */

import { askAll, labelOf, unset, valueAt } from "../ask.js";
import { measureRow } from "../bluetooth/row.js";
import { callAction, callButtons } from "../calls.js";
import { standing } from "../check_rows.js";
import { weightParts } from "../declared.js";
import { askedAt, setFields } from "../draft.js";
import * as fluid from "../fluid.js";
import { lastPost, lastTime } from "../nights_before.js";
import { shown, toldOf } from "../numbers.js";
import { layOver } from "../over.js";
import { askNumber, numberField } from "../pad.js";
import { register } from "../router.js";
import { inShort } from "../short.js";
import { bigButton, choiceRow, dl, h, note } from "../ui.js";
import { isReasoned, nothingUnusual, passOver, WEIGHED } from "../weighed.js";
import { fmt, hours, t } from "../words.js";
import { openChecks, reasonFor } from "./checks.js";

const MEASURED = ["pre_weight_kg", "pre_systolic", "pre_diastolic", "pre_pulse"];
const GOES_IN = ["planned_rinse_back_l", "planned_intake_l"];
const ASKED = [...MEASURED, ...GOES_IN];
/** What is taken before besides: standing, temperature, and whatever the unit declares. @param {Ctx} ctx */
const besides = (ctx) => askedAt(ctx.kit, "before").filter((path) => !ASKED.includes(path));
/** Of target weight; above it ask the unit. European guideline 2007, from memory. */
const GAIN_PERCENT = 4.5;
const ROUNDED = 2;

/** @param {Ctx} ctx */
function planOf(ctx) {
  const { doc } = ctx.night;
  const ordered = ctx.kit.prescription;
  return fluid.plan({
    pre: doc.pre_weight_kg,
    target: ordered?.target_weight_kg,
    rinse: doc.planned_rinse_back_l ?? 0,
    drinks: doc.planned_intake_l ?? 0,
    minutes: ordered?.minutes,
    longest: ordered?.max_minutes,
    limit: ordered?.uf_rate_limit_ml_kg_h,
  });
}

const whyWords = () => ({
  no_weight: t("The plan appears when the weight is entered."),
  no_target: t("There is no target weight in force: ask the unit."),
  apart: t("The weight and the target are more than a fifth apart. Weigh again, or ask the unit."),
  under: t("The weight is under the target: nothing to take off. Ask the unit before you begin."),
  odd: t("These numbers give no plan. Look at them again, or ask the unit."),
});

/** The choice that stands: the only one, the one that was touched, or the unit's own words. @param {Ctx} ctx */
function chosen(ctx, plan) {
  const { kind } = ctx.night.plan;
  if (plan.choices?.length === 1 && !plan.over) return plan.choices[0];
  return plan.choices?.find((each) => each.kind === kind) ?? null;
}

/** @param {Ctx} ctx */
const planAsTold = (ctx) => (ctx.night.plan.kind === "told" ? ctx.night.plan : null);

/** Write the plan as it stands into the document: what the summary and the unit compare with later. @param {Ctx} ctx */
function keepPlan(ctx) {
  const choice = chosen(ctx, planOf(ctx));
  const asTold = planAsTold(ctx);
  const values = choice
    ? {
        planned_minutes: choice.minutes,
        planned_uf_l: Number(shown(choice.litres, ROUNDED)),
        plan_choice: choice.kind === "longer_and_leave" ? "leave_some" : choice.kind,
      }
    : asTold
      ? { planned_minutes: asTold.minutes, planned_uf_l: asTold.litres, plan_choice: "" }
      : { planned_minutes: null, planned_uf_l: null, plan_choice: "" };
  const same = Object.entries(values).every(([name, value]) => ctx.night.doc[name] === value);
  if (!same) ctx.change(t("Plan for the fluid"), (night) => setFields(night, values));
}

const choiceName = () => ({
  longer: t("Longer tonight"),
  leave_some: t("Leave some for next time"),
  longer_and_leave: t("Longer, and leave some"),
  as_prescribed: t("As prescribed"),
});

function hintOf({ minutes, litres, left, rate }) {
  const words = [
    t("{hours} h", { hours: hours(minutes) }),
    t("take off {n} L", { n: fmt(litres, 2) }),
    t("{n} mL/kg/h", { n: fmt(rate, 1) }),
  ];
  if (left > 0.005) words.push(t("leaves {n} L", { n: fmt(left, 2) }));
  return words.join(" · ");
}

/**
 * A rate that rounds to the limit although it is above gets one more figure, so that nobody reads "10.0 over 10.0".
 * @param {any} plan @param {number} limit
 */
const rateShown = ({ rate, over }, limit) => fmt(rate, over && shown(rate, 1) === shown(limit, 1) ? 3 : 1);

/** Another plan; where the person stands in a sheet or in trouble is no part of the choice. @param {Night} night */
function choose(night, chosen) {
  night.plan = { ...night.plan, ...chosen };
}

/** @param {Ctx} ctx */
async function askAsTold(ctx) {
  const litres = await askNumber({
    label: t("Fluid to take off, as the unit said"),
    limits: ctx.kit.limits.planned_uf_l,
  });
  if (typeof litres !== "number") return;
  const minutes = await askNumber({
    label: t("Minutes, as the unit said"),
    limits: ctx.kit.limits.planned_minutes,
    last: ctx.kit.prescription?.minutes,
  });
  if (typeof minutes !== "number") return;
  ctx.change(t("Plan as the unit said"), (night) => {
    choose(night, { kind: "told", litres, minutes });
  });
}

/** @param {Ctx} ctx */
function choices(ctx, plan) {
  const { minutes, uf_rate_limit_ml_kg_h: limit } = /** @type {Prescription} */ (ctx.kit.prescription);
  const over = t("That is above your limit of {limit} mL/kg/h in the prescribed {hours} h.", {
    limit: fmt(limit),
    hours: hours(minutes),
  });
  const options = plan.choices.map((each) => ({
    value: each.kind,
    label: choiceName()[each.kind],
    hint: hintOf(each),
  }));
  const pick = (kind) =>
    ctx.change(choiceName()[kind], (night) => {
      choose(night, { kind, litres: null, minutes: null });
    });
  return [note(over, "care"), choiceRow(t("These stay inside your prescription"), options, ctx.night.plan.kind, pick)];
}

/** @param {Ctx} ctx @param {string[]} calls */
function planned(ctx, calls) {
  const plan = planOf(ctx);
  const said = planAsTold(ctx);
  const other = bigButton(t("Something else, as the unit told me"), () => askAsTold(ctx), {
    data: { k: "told" },
    hint: said ? `${fmt(said.litres)} L, ${hours(said.minutes)} h` : null,
  });
  if (plan.why === "no_weight") return note(whyWords().no_weight);
  const ordered = ctx.kit.prescription;
  if (plan.why || !ordered)
    return [note(whyWords()[plan.why ?? "no_target"], "stop", ...callButtons(ctx.kit.unit, "on_call")), other];
  return [
    dl([
      [t("Fluid to take off (UF)"), plan.litres, "L", 2],
      [
        t("UF rate in {hours} h", { hours: hours(ordered.minutes) }),
        h("b", { text: rateShown(plan, ordered.uf_rate_limit_ml_kg_h) }),
        "mL/kg/h",
      ],
      [t("Your limit"), ordered.uf_rate_limit_ml_kg_h, "mL/kg/h"],
    ]),
    plan.over
      ? [choices(ctx, plan), other]
      : note(
          t("The UF rate is under your limit in the prescribed time. Only that was judged."),
          calls.length ? "plain" : "good", // nothing reads as good beside something that wants a call
        ),
  ];
}

/** @param {Ctx} ctx */
const gainOf = (ctx) =>
  fluid.gain({ pre: ctx.night.doc.pre_weight_kg, last: lastPost(ctx), target: ctx.kit.prescription?.target_weight_kg });

/** What wants a call before the treatment, in words that leave the judgement to the unit. @param {Ctx} ctx */
function reasonsToCall(ctx) {
  const { doc } = ctx.night;
  const gained = gainOf(ctx);
  const plan = planOf(ctx);
  const most = ctx.kit.limits.uf_removed_l?.usual[1];
  const odd = ["pre_systolic", "pre_diastolic", "pre_standing_systolic", "pre_pulse", "pre_temperature_c"].filter(
    (path) => {
      const [low, high] = ctx.kit.limits[path]?.usual ?? [-Infinity, Infinity];
      return doc[path] != null && (doc[path] < low || doc[path] > high);
    },
  );
  return [
    plan.atMostOver && !planAsTold(ctx) && t("Even the longest treatment allowed would pass the limit with all of it."),
    ...odd.map((path) => {
      const value = fmt(toldOf(ctx.kit.limits[path], doc[path]));
      return t("{field} is {value}: unusual.", { field: labelOf(ctx, path), value });
    }),
    gained &&
      gained.percent > GAIN_PERCENT &&
      t("You gained {kg} {unit}, {percent} % of the target weight: more than is usual.", {
        ...weightParts(ctx.kit, gained.kg),
        percent: fmt(gained.percent, 1),
      }),
    plan.litres !== undefined &&
      most !== undefined &&
      plan.litres > most &&
      t("{n} L is a lot to take off in one treatment.", { n: fmt(plan.litres, 2) }),
    standingDrop(doc, "pre"),
  ].filter(Boolean);
}

/**
 * Standing fall of 20 systolic or 10 diastolic: the consensus definition (2011, from memory).
 * @param {TreatmentDocument} doc
 */
export function standingDrop(doc, when) {
  const systolic = doc[`${when}_systolic`] - doc[`${when}_standing_systolic`];
  const diastolic = doc[`${when}_diastolic`] - doc[`${when}_standing_diastolic`];
  const known = doc[`${when}_systolic`] != null && doc[`${when}_standing_systolic`] != null;
  const both = doc[`${when}_diastolic`] != null && doc[`${when}_standing_diastolic`] != null;
  if (!(known && systolic >= 20) && !(both && diastolic >= 10)) return null;
  return t("The pressure falls on standing up. Sit down again; get up slowly.");
}

/** @param {Ctx} ctx */
function gainLine(ctx) {
  const gained = gainOf(ctx);
  return (
    gained &&
    h("p", {
      text: t("Gained since last time: {kg} {unit}, {percent} % of the target weight.", {
        ...weightParts(ctx.kit, gained.kg),
        percent: fmt(gained.percent, 1),
      }),
    })
  );
}

let reasoning = false;
let lift = () => {};

/** Unusual before it begins, and nobody has said why it is begun all the same. @param {Ctx} ctx */
const mustReason = (ctx, calls) => ctx.night.stage === "before" && calls.length > 0 && !isReasoned(ctx.night, calls);

/** What is unusual, and whom to ask first: where the plan comes into sight. @param {Ctx} ctx */
const callFirst = (ctx, calls) =>
  note(
    t("Ask the unit before you begin:"),
    mustReason(ctx, calls) ? "stop" : "care",
    h(
      "ul",
      null,
      calls.map((words) => h("li", { text: words })),
    ),
    h("p", { text: t("Call the unit first, unless your training says otherwise.") }),
    ...callButtons(ctx.kit.unit, "on_call"),
  );

/** @param {Ctx} ctx */
function askReason(ctx) {
  reasoning = true;
  lift = layOver(() => stopAsking(ctx));
  ctx.redraw();
  window.scrollTo(0, 0);
}

/** @param {Ctx} ctx */
function stopAsking(ctx) {
  reasoning = false;
  ctx.redraw();
}

/** @param {Ctx} ctx */
function whyGoOn(ctx, calls) {
  const take = (reason) => {
    lift();
    reasoning = false;
    ctx.change(t("Begun all the same: the reason is written"), (night) =>
      passOver(night, calls, reason, ctx.now().toISOString()),
    );
    showPlan();
  };
  const leave = () => {
    lift();
    stopAsking(ctx);
  };
  return reasonFor(ctx, WEIGHED, ["unit_said_so", "checked_again"], { take, leave });
}

/** @param {Ctx} ctx */
function draw(ctx) {
  if (!ctx.night) return note(t("No treatment is open."));
  const last = lastTime(ctx);
  const field = (path) => numberField(ctx, path, { last: last(path) });
  const calls = reasonsToCall(ctx);
  if (reasoning && mustReason(ctx, calls)) return [callFirst(ctx, calls), whyGoOn(ctx, calls)];
  return [
    field("pre_weight_kg"),
    measureRow(ctx, "weight", { weight: "pre_weight_kg" }),
    h("h2", { text: t("Blood pressure, sitting") }),
    ["pre_systolic", "pre_diastolic", "pre_pulse"].map(field),
    measureRow(ctx, "pressure", { systolic: "pre_systolic", diastolic: "pre_diastolic", pulse: "pre_pulse" }),
    h(
      "details",
      { open: besides(ctx).some((path) => valueAt(ctx, path) !== null) },
      h("summary", { text: t("Standing, and temperature") }),
      besides(ctx).map(field),
    ),
    h("h2", { text: t("Fluid that goes in") }),
    field("planned_rinse_back_l"),
    field("planned_intake_l"),
    h(
      "section",
      { class: "plan", aria: { label: t("Plan for the fluid") } },
      calls.length > 0 && callFirst(ctx, calls),
      h("h2", { text: t("Plan for the fluid") }),
      gainLine(ctx),
      planned(ctx, calls),
    ),
  ];
}

/** What goes in as last time, both in one touch and named; null where last time is not known. @param {Ctx} ctx */
function asLastTime(ctx) {
  const [rinse, drinks] = GOES_IN.map(lastTime(ctx));
  if (rinse == null || drinks == null || unset(ctx, GOES_IN).length < GOES_IN.length) return null;
  const hint = t("rinse-back {rinse} L, drinks {drinks} L", { rinse: fmt(rinse), drinks: fmt(drinks) });
  const take = () => {
    ctx.change(t("As last time"), (night) =>
      setFields(night, { planned_rinse_back_l: rinse, planned_intake_l: drinks }),
    );
    showPlan();
  };
  return { label: t("As last time"), hint, tap: take };
}

/** What was worked out comes into sight, above the dock. */
const showPlan = () => document.querySelector("#screen .plan")?.scrollIntoView({ block: "start" });

/** @param {Ctx} ctx */
async function enter(ctx, paths) {
  await askAll(ctx, paths, lastTime(ctx));
  showPlan();
}

/** What the fluid of tonight comes to, in the words of the main action: it is not passed unseen. @param {Ctx} ctx */
function planHint(ctx, plan, waits) {
  if (waits) return t("First choose above how much to take off, and how long");
  const choice = chosen(ctx, plan) ?? planAsTold(ctx);
  if (!choice) return null;
  return t("Take off {n} L in {time} h", { n: shown(choice.litres, ROUNDED), time: hours(choice.minutes) });
}

/** @param {Ctx} ctx */
const goOnAllTheSame = (ctx) => ({
  label: t("Go on all the same"),
  hint: t("Only with a reason"),
  tap: () => askReason(ctx),
});

/** On to the access, or back to where the treatment stands. @param {Ctx} ctx @param {string[]} calls */
function goNext(ctx, calls) {
  if (!calls.length && standing(ctx.night.doc.checks, WEIGHED)) ctx.change(t("Nothing is unusual"), nothingUnusual);
  keepPlan(ctx);
  if (ctx.night.stage !== "before") return ctx.go("running");
  return inShort(ctx) && openChecks(ctx, "access").length ? ctx.go("checks", "access") : ctx.go("access");
}

/**
 * What leads on from here: held by a check, by a choice, by what is unusual.
 * @param {Ctx} ctx @param {string[]} calls
 */
function onwardOf(ctx, calls) {
  const plan = planOf(ctx);
  const waits = plan.over && !chosen(ctx, plan) && !planAsTold(ctx);
  const before = ctx.night.stage === "before";
  if (before && openChecks(ctx, "setup").length)
    return { label: t("Back to the checks"), go: "checks", hint: t("One of them holds") };
  if (!waits && mustReason(ctx, calls)) return goOnAllTheSame(ctx);
  return {
    label: before ? t("Next: the access") : t("Back to the treatment"),
    tap: () => goNext(ctx, calls),
    disabled: waits,
    hint: planHint(ctx, plan, waits),
  };
}

/** @param {Ctx} ctx */
function bar(ctx) {
  if (!ctx.night) return [{ label: t("Tonight"), go: "tonight" }];
  const missing = unset(ctx, ASKED);
  const calls = reasonsToCall(ctx);
  const call = callAction(ctx.kit.unit, "on_call");
  if (reasoning && mustReason(ctx, calls)) return [call];
  const onward = onwardOf(ctx, calls);
  const held = onward.label === goOnAllTheSame(ctx).label;
  if (!missing.length) return held ? [call, { ...onward, tone: "plain" }] : [onward];
  const usual = asLastTime(ctx);
  const measured = missing.some((path) => MEASURED.includes(path));
  const ask = {
    label: t("Enter: {what}", { what: missing[0] && labelOf(ctx, missing[0]) }),
    tap: () => enter(ctx, usual && measured ? MEASURED : ASKED),
  };
  return [usual && !measured ? usual : ask, usual && !measured ? ask : { ...onward, tone: "plain" }];
}

register("weigh", { title: () => t("Weigh and plan"), draw, bar });
