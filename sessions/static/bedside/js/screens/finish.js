/*
 * Ending a treatment: blood back, needles out, then six questions. The main action is always what comes next. While a
 * needle is in or a site is pressed nothing else stands on the screen.
 */

import { askAll, labelOf, textField, unset } from "../ask.js";
import { bleedingRows, heldLeft, outSince, pull, stillOpen, stopped, watches } from "../bleeding.js";
import { measureRow } from "../bluetooth/row.js";
import { isDisinfection } from "../check_rows.js";
import { bloodReturns, dialyserLooks, earlyReasons, yesNo } from "../choices.js";
import { beganAt, course, minuteOf } from "../course.js";
import { askedAt, dropRow, putRow, setFields, setMoment, stampStep, toggleField } from "../draft.js";
import { bloodStays, overBy } from "../flow_state.js";
import { momentRow } from "../moment_row.js";
import { placeName } from "../needle_sites.js";
import { lastTime } from "../nights_before.js";
import { withUnit } from "../numbers.js";
import { endedWords } from "../others.js";
import { askNumber, numberField } from "../pad.js";
import { orderedWords, plannedWords } from "../plan_words.js";
import { asKept, coded, say } from "../ready.js";
import { register } from "../router.js";
import { figureRow, stepList } from "../sheet_parts.js";
import { STOP_KEY, stepsOff } from "../sheet_steps.js";
import { inShort, shortRow } from "../short.js";
import { stepsOver, stepTaken, stepUndone } from "../step_back.js";
import { announce, bigButton, byId, choiceRow, h, note } from "../ui.js";
import { fmt, t, timeOf, tn } from "../words.js";
import { openChecks } from "./checks.js";
import { standingDrop } from "./weigh.js";

const ENDED = "ended";
/** What is said of an end after which the blood is not all back. */
const ENDED_WITHOUT = "ended_without";
const ENDED_BEFORE = "ended_before";
const FLUID = ["rinse_back_l", "intake_l"];
/** What is taken after, and what the machine shows, in the order of asking. @param {Ctx} ctx */
const body = (ctx) => askedAt(ctx.kit, "after");
const TOTAL = "uf_removed_l";
const MACHINE = [TOTAL, "blood_processed_l"];
/** What the machine shows besides: its Kt/V, and whatever the unit declares. @param {Ctx} ctx */
const besides = (ctx) => askedAt(ctx.kit, "fluid").filter((path) => ![...FLUID, ...MACHINE].includes(path));

/* Blood back ---------------------------------------------------------------------------------------- */

/** A little before the planned end is not early [min]. */
const EARLY = 5;
/** @param {Ctx} ctx */
const isEarly = (ctx) => (course(ctx.night, ctx.kit, ctx.now()).left ?? 0) > EARLY;
/** The steps of the end, each on a screen of its own. @param {Ctx} ctx */
const stepsOf = (ctx) => (inShort(ctx) ? [] : stepsOff(ctx.kit, ctx.night));

/** Where they stand: at the one that was gone back to, else at the first that is not done. @param {Ctx} ctx */
function stepNow(ctx) {
  const { plan, stamps } = ctx.night;
  const steps = stepsOf(ctx);
  return steps.find((step) => step.key === plan.offAt) ?? steps.find((step) => !stamps[step.key]) ?? null;
}

/** @param {Ctx} ctx */
function showStep(ctx, label, key, fill = (_night) => {}) {
  ctx.change(label, (night) => {
    fill(night);
    night.plan.offAt = key;
  });
  announce(stepNow(ctx)?.words ?? endLabel(ctx));
  window.scrollTo(0, 0);
}

/** Done: the next one, which may have been done before somebody went back. @param {Ctx} ctx @param {SheetStep} step */
function stepDone(ctx, step) {
  const steps = stepsOf(ctx);
  const next = steps[steps.indexOf(step) + 1];
  showStep(ctx, step.words, next && ctx.night.stamps[next.key] ? next.key : "", (night) =>
    stampStep(night, step.key, asKept(step), ctx.now().toISOString()),
  );
  stepTaken(() => backTo(ctx, step));
}

/** What was done stays stamped: only the screen goes back. @param {Ctx} ctx @param {SheetStep} step */
const backTo = (ctx, step) => showStep(ctx, t("One step back"), step.key);

/** @param {Ctx} ctx */
function stepBefore(ctx) {
  const steps = stepsOf(ctx);
  const now = stepNow(ctx);
  const before = steps[(now ? steps.indexOf(now) : steps.length) - 1];
  const back = () => {
    stepUndone();
    backTo(ctx, before);
  };
  return before && bigButton(t("One step back"), back, { data: { k: "step-back" } });
}

/** Why the blood is not given back, above everything else. @param {Ctx} ctx */
function bloodNote(ctx) {
  const rule = bloodStays(ctx.kit, ctx.night);
  return rule && note(ctx.kit.blood_back?.words[rule] ?? "", "stop");
}

/** What becomes of the blood where nobody says it; what never ran has none to give back. @param {Ctx} ctx */
const bloodAtEnd = (ctx) => (ctx.night.doc.started_at ? (bloodStays(ctx.kit, ctx.night) ? "none" : "whole") : "");

/** The pump was stopped for the end so long ago at most [ms]; what is longer ago belongs to a stop in between. */
const STOPPED_FOR_END = 30 * 60_000;
/** When the pump was stopped for this end, or null. @param {Ctx} ctx */
const pumpStopped = (ctx) => {
  const iso = ctx.night.stamps[STOP_KEY];
  return iso && ctx.now().getTime() - Date.parse(iso) <= STOPPED_FOR_END ? new Date(iso) : null;
};

/** When it ended: at what was answered of trouble, or when the pump was stopped, else now. @param {Ctx} ctx */
function overAt(ctx) {
  const event = overBy(ctx.night);
  return event ? new Date(event.ended_at ?? event.at) : (pumpStopped(ctx) ?? ctx.now());
}

/** The treatment ends; the blood is back unless it stays out or something else was said. @param {Ctx} ctx */
function end(ctx) {
  const steps = inShort(ctx) ? stepsOff(ctx.kit, ctx.night) : [];
  const back = ctx.night.doc.blood_return || bloodAtEnd(ctx);
  const said = back ? (back === "whole" ? ENDED : ENDED_WITHOUT) : ENDED_BEFORE;
  ctx.change(say(ctx.kit, said), (night) => {
    const iso = ctx.now().toISOString();
    for (const step of steps) stampStep(night, step.key, asKept(step), iso);
    setFields(night, { started_at: beganAt(night, ctx.now()) });
    setMoment(night, "ended_at", minuteOf(overAt(ctx)));
    stampStep(night, ENDED, coded(said), iso);
    setFields(night, { blood_return: back });
  });
  stepsOver();
  window.scrollTo(0, 0);
}

/** @param {Ctx} ctx */
function stepWords(ctx) {
  const words = (step) => [
    step.hint && !inShort(ctx) && h("p", { class: "soft", text: step.hint }),
    step.speed_ml_min && figureRow(t("About"), withUnit(step.speed_ml_min, "mL/min")),
  ];
  if (inShort(ctx)) return stepList(stepsOff(ctx.kit, ctx.night), words);
  const step = stepNow(ctx);
  return step && [h("p", { class: "step-words", text: step.words }), words(step)];
}

/** How it ended, where that is not plain: early and why, blood that was not given back, blood lost. @param {Ctx} ctx */
function howEnded(ctx) {
  const { doc } = ctx.night;
  const pick = (label, path) => (value) => ctx.change(label, (night) => toggleField(night, path, value));
  const [blood, why] = [t("Blood in the lines"), t("Why it ends early")];
  const early = doc.ended_at ? endedEarly(ctx) : isEarly(ctx);
  return [
    (doc.early_reason || early) &&
      h(
        "details",
        { class: "other", open: !doc.ended_at || !doc.early_reason },
        h("summary", { text: t("It ends before its time") }),
        choiceRow(why, earlyReasons(), doc.early_reason, pick(why, "early_reason")),
      ),
    h(
      "details",
      { class: "other", open: ["part", "none"].includes(doc.blood_return) || doc.blood_lost_ml != null },
      h("summary", { text: t("Blood not all given back, or blood lost") }),
      choiceRow(blood, bloodReturns(), doc.blood_return, pick(blood, "blood_return")),
      numberField(ctx, "blood_lost_ml"),
    ),
  ];
}

/** @param {Ctx} ctx */
function endedEarly(ctx) {
  const { endsAt } = course(ctx.night, ctx.kit, ctx.now());
  const { ended_at: ended } = ctx.night.doc;
  return Boolean(ended && endsAt && Date.parse(endsAt) - Date.parse(ended) > EARLY * 60_000);
}

/**
 * What was planned stands as the last value: one touch takes it where it came true. What the machine took off is asked
 * openly: the last reading is not the total.
 * @param {Ctx} ctx
 */
const lastOf = (ctx) => (path) =>
  path === TOTAL
    ? null
    : ({
        rinse_back_l: ctx.night.doc.blood_return === "none" ? null : ctx.night.doc.planned_rinse_back_l,
        intake_l: ctx.night.doc.planned_intake_l,
      }[path] ?? lastTime(ctx)(path));

/** @param {Ctx} ctx */
const besideOf = (ctx) => (path) => (path === TOTAL ? plannedWords(ctx) : orderedWords(ctx, path));

/** @param {Ctx} ctx */
function numbers(ctx, paths) {
  return paths.map((path) => numberField(ctx, path, { last: lastOf(ctx)(path), aside: besideOf(ctx)(path) }));
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
  tap: () => askAll(ctx, paths, lastOf(ctx), besideOf(ctx)),
});

/** @param {Ctx} ctx */
function endLabel(ctx) {
  const back = ctx.night.doc.blood_return || bloodAtEnd(ctx);
  return back === "whole" ? t("Blood is back: end now") : t("End now");
}

/**
 * Whoever knows the steps, or cannot do them, ends all the same: below them, for fluid removal goes off first.
 * @param {Ctx} ctx
 */
const endNow = (ctx) => stepNow(ctx) && bigButton(endLabel(ctx), () => end(ctx), { data: { k: "end-now" } });

/** @param {Ctx} ctx */
function beforeEnd(ctx) {
  const step = stepNow(ctx);
  return step
    ? { label: t("Done, next"), tap: () => stepDone(ctx, step) }
    : { label: endLabel(ctx), tap: () => end(ctx) };
}

/** A needle out, or a site that is pressed; null where there is none. @param {Ctx} ctx */
function atNeedles(ctx) {
  const open = stillOpen(ctx);
  const running = open.find(({ row }) => outSince(ctx, row));
  const site = open.length && placeName(ctx.kit, (running ?? open[0]).row);
  if (running && heldLeft(ctx, running))
    return { label: t("{site}: press on", { site }), disabled: true, hint: t("At least a minute, without a look") };
  if (running) return { label: t("{site}: bleeding has stopped", { site }), tap: () => stopped(ctx, running) };
  return open.length ? { label: t("{site}: needle is out now", { site }), tap: () => pull(ctx, open[0]) } : null;
}

/** Whether disinfecting is asked here, and not by a check after the treatment. @param {Ctx} ctx */
const asksDisinfected = (ctx) => !(ctx.kit.checklist?.items ?? []).some(isDisinfection);

/** The last question is answered, with words or without any. @param {Ctx} ctx */
const allTold = (ctx) =>
  ctx.change(t("That is all"), (night) => {
    night.plan.told = true;
  });

/** @param {Ctx} ctx */
function nextStep(ctx) {
  const { doc } = ctx.night;
  if (!doc.ended_at) return beforeEnd(ctx);
  const needles = atNeedles(ctx);
  if (needles) return needles;
  for (const paths of [body(ctx), MACHINE, FLUID]) if (unset(ctx, paths).length) return asks(ctx, paths);
  if (!doc.dialyser_look || (asksDisinfected(ctx) && doc.disinfected === null))
    return {
      label: t("Next: dialyser and machine"),
      tap: () => byId("machine").scrollIntoView({ block: "center" }),
    };
  if (!ctx.night.plan.told) return { label: t("That is all"), tap: () => allTold(ctx) };
  if (openChecks(ctx, "after").length) return { label: t("Next: checks after"), go: ["checks", "after"] };
  return { label: t("Next: look it over"), go: "summary" };
}

/** @param {Ctx} ctx */
function ended(ctx) {
  const { doc } = ctx.night;
  const over = endedWords(ctx);
  const stopped = pumpStopped(ctx);
  if (over && !doc.ended_at) return over;
  if (stopped && !doc.ended_at)
    return note(t("The pump is stopped since {time}.", { time: timeOf(stopped.toISOString()) }));
  if (!doc.ended_at)
    return note(
      doc.started_at
        ? t("The treatment is running since {time}.", { time: timeOf(doc.started_at) })
        : t("It never ran. If you end now, the record says: begun {time}, ended now.", {
            time: timeOf(beganAt(ctx.night, ctx.now())),
          }),
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
  if (!ctx.night.doc.ended_at)
    return [bloodNote(ctx), stepWords(ctx), ended(ctx), howEnded(ctx), stepBefore(ctx), endNow(ctx), shortRow(ctx)];
  const rows = bleedingRows(ctx);
  const out = rows.length > 0 && [h("h2", { text: t("Needles out") }), rows];
  if (!stillOpen(ctx).length) return [ended(ctx), howEnded(ctx), questions(ctx), out];
  return [
    watches(ctx),
    out,
    ended(ctx),
    h("details", { class: "other" }, h("summary", { text: t("The six questions already") }), questions(ctx)),
  ];
}

/** @param {number} n @param {string} words @param {string} [id] */
const question = (n, words, id) => h("h2", { id, text: t("{n} of {all}: {words}", { n, all: 6, words }) });

/** @param {Ctx} ctx */
function questions(ctx) {
  const pick = (label, path) => (value) => ctx.change(label, (night) => toggleField(night, path, value));
  const drop = standingDrop(ctx.night.doc, "post");
  const [weight, ...rest] = body(ctx);
  return [
    question(1, t("Weight after")),
    numbers(ctx, [weight]),
    measureRow(ctx, "weight", { weight: "post_weight_kg" }),
    question(2, t("Pressure after")),
    numbers(ctx, rest),
    drop && note(drop, "care"),
    measureRow(ctx, "pressure", { systolic: "post_systolic", diastolic: "post_diastolic", pulse: "post_pulse" }),
    question(3, t("What the machine says")),
    numbers(ctx, [...MACHINE, ...besides(ctx)]),
    question(4, t("Fluid that went in")),
    numbers(ctx, FLUID),
    question(5, t("Dialyser and machine"), "machine"),
    choiceRow(
      t("Look of the dialyser"),
      dialyserLooks(),
      ctx.night.doc.dialyser_look,
      pick(t("Look of the dialyser"), "dialyser_look"),
    ),
    asksDisinfected(ctx) &&
      choiceRow(
        t("Machine disinfected"),
        yesNo(),
        ctx.night.doc.disinfected,
        pick(t("Machine disinfected"), "disinfected"),
      ),
    stock(ctx),
    question(6, t("Anything the unit should know?")),
    textField(ctx, "notes", t("Notes"), { hint: t("Read when the unit looks through it, not now.") }),
    checks(ctx),
  ];
}

/** @param {Ctx} ctx */
function bar(ctx) {
  if (!ctx.night) return [{ label: t("Tonight"), go: "tonight" }];
  const next = nextStep(ctx);
  const running = !ctx.night.doc.ended_at && ctx.night.doc.started_at;
  return [
    next,
    next.go !== "summary" &&
      ctx.night.doc.ended_at &&
      !stillOpen(ctx).length && { label: t("Look it over"), go: "summary" },
    running && { label: t("Back to the treatment"), go: "running" },
  ];
}

register("finish", { title: () => t("Finish"), draw, bar });
