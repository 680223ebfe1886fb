/* The run sheet: one step a screen, forward by one large touch, each step stamped by the phone's clock. */

import { keepAwake } from "../awake.js";
import { callAction, callButtons } from "../calls.js";
import { uncheckedLine } from "../cards.js";
import { stopsHeld } from "../check_rows.js";
import { needleKinds, useWords } from "../choices.js";
import { minuteOf } from "../course.js";
import {
  addEvent,
  addSite,
  askedAt,
  changeSite,
  limitsOf,
  setFields,
  setMoment,
  shortOf,
  siteOf,
  stampStep,
  takeNumber,
  writeNumber,
} from "../draft.js";
import { noneLeft, noOtherPlace } from "../flow_needle.js";
import { addressOf, setStand, underWay } from "../flow_state.js";
import { doseLimits, givenOf, heparin, putMedicine } from "../heparin.js";
import { giveUp, isGivenUp, placeName, placesLeft, siteName } from "../needle_sites.js";
import { inWords, withUnit } from "../numbers.js";
import { askNumber } from "../pad.js";
import { litresWords, orderedWords, plannedWords } from "../plan_words.js";
import { asKept, coded, say, wordsOf } from "../ready.js";
import { remind } from "../reminders.js";
import { go, register, replace } from "../router.js";
import { figureRow, stepList } from "../sheet_parts.js";
import { firstUse, gapsOf, isQuestion, nextAfter, restartOf, stepsOf, together } from "../sheet_steps.js";
import { inShort, onceSeen, shortRow } from "../short.js";
import { stepTaken, stepUndone } from "../step_back.js";
import { stopNotes } from "../stops.js";
import { announce, bigButton, choiceRow, dl, h, note } from "../ui.js";
import { fieldRow, valueRow } from "../value_row.js";
import { plain, setPlain } from "../vault.js";
import { hours, stopwatch, t, timeOf, tn } from "../words.js";

const GAUGES = [14, 15, 16, 17];
const LENGTHS_MM = [15, 20, 25, 32, 38];
const IN_STEPS = ["gauge", "length_mm", "attempts", "pain", "bleeding_minutes"]; // each has a place of its own
const PICKED = new Set(["flash", "flush", "pain", "attempts"]); // the answer itself leads on

const ANOTHER = "another_attempt";
const RUNS = "running";

/** @param {Night} night @returns {import("../sheet_steps.js").Sheet} */
const sheetOf = (night) => night.plan.sheet ?? { at: 0, since: null, failed: "", first: plain("first") ?? "" };

/** Where the sheet stands: its steps, those of this screen, and the first of these. @param {Ctx} ctx */
function here(ctx) {
  const steps = stepsOf(ctx.kit, ctx.night);
  const sheet = sheetOf(ctx.night);
  // Another site was taken after a needle that failed: the sheet goes on where that place is cleaned.
  const from = sheet.restart ? restartOf(steps, sheet.restart, true) : Math.min(sheet.at, steps.length);
  const at = nextAfter(steps, from, sheet.only);
  const shown = inShort(ctx) && !sheet.single && !sheet.gap ? together(steps, at) : steps.slice(at, at + 1);
  return { steps, sheet, at, step: steps[at], shown };
}

/** What is open of the sheet. @param {Ctx} ctx */
function gaps(ctx) {
  const { steps, sheet } = here(ctx);
  return gapsOf(steps, ctx.night, sheet.only);
}

/** @param {Ctx} ctx */
const titleOf = (ctx) => {
  if (!ctx.night) return t("Needles");
  const { at, steps, shown } = here(ctx);
  const open = gaps(ctx).length;
  if (at >= steps.length) return open ? tn("{n} step is open", "{n} steps are open", open) : t("All steps done");
  if (shown.length < 2) return t("Step {n} of {all}", { n: at + 1, all: steps.length });
  return t("Steps {from} to {to} of {all}", { from: at + 1, to: at + shown.length, all: steps.length });
};

/** Say the new steps to those who listen, after the undo bar has said what was done. @param {Ctx} ctx */
const sayStep = (ctx) =>
  announce(
    `${titleOf(ctx)}. ${here(ctx)
      .shown.map((step) => step.words)
      .join(". ")}`,
  );

/** @param {Ctx} ctx */
function moveTo(ctx, at, label, fill = (_night, _iso) => {}) {
  const since = ctx.now().toISOString();
  const before = here(ctx).at;
  ctx.change(label, (night) => {
    fill(night, since);
    night.plan.sheet = { ...sheetOf(night), at, since, failed: "", restart: "" };
  });
  if (at > before) stepTaken(() => backward(ctx));
  window.scrollTo(0, 0);
  sayStep(ctx);
}

const withSaid = (words, said) => (said ? `${words}: ${said}` : words);

/** Stamp a step with its words and what was answered, in codes. @param {Night} night @param {SheetStep} step */
const stamp = (night, step, said, iso) => stampStep(night, step.key, withSaid(asKept(step), said).slice(0, 500), iso);

/**
 * One step on, stamped. fill(night, iso) writes the answer.
 * @param {Ctx} ctx
 */
function forward(ctx, said = "", fill = (_night, _iso) => {}) {
  const { step, steps, at, sheet } = here(ctx);
  const still = isQuestion(steps[at + 1] ?? {});
  moveTo(ctx, sheet.gap ? steps.length : at + 1, withSaid(step.words, wordsOf(ctx.kit, said)), (night, iso) => {
    fill(night, iso);
    stamp(night, step, said, iso);
    night.plan.sheet = { ...sheet, single: sheet.single && still, gap: false };
  });
}

/** All steps of the screen on, each stamped; answers by key. @param {Ctx} ctx @param {Record<string, string>} said */
function forwardAll(ctx, said = {}, fill = (_night, _iso) => {}) {
  const { at, shown, step } = here(ctx);
  if (shown.length < 2) return forward(ctx, said[step.key] ?? "", fill);
  const words = tn("{n} step done", "{n} steps done", shown.length);
  return moveTo(ctx, at + shown.length, words, (night, iso) => {
    fill(night, iso);
    for (const each of shown) stamp(night, each, said[each.key] ?? "", iso);
  });
}

/** The steps of the screen before: one of them in the whole form. @param {Ctx} ctx */
function backward(ctx) {
  const { at, steps } = here(ctx);
  const before = Math.max(0, at - 1);
  const to = inShort(ctx) ? steps.indexOf(together(steps, before)[0]) : before;
  let from = to;
  if (inShort(ctx)) while (from > 0 && together(steps, from - 1).includes(steps[to])) from -= 1;
  moveTo(ctx, from, t("One step back"));
}

/** @param {Ctx} ctx */
function byTouch(ctx) {
  stepUndone();
  backward(ctx);
}

/* Countdown ---------------------------------------------------------------------------------------- */

/** @param {Ctx} ctx */
const secondsLeft = (ctx) => {
  const { step, sheet } = here(ctx);
  if (!step?.countdown_s || !sheet.since) return 0;
  return Math.max(0, Math.ceil(step.countdown_s - (ctx.now().getTime() - Date.parse(sheet.since)) / 1000));
};

/** @param {Ctx} ctx */
function countdown(ctx) {
  const { step } = here(ctx);
  const figure = h("p", { class: "countdown", role: "timer" });
  const left = secondsLeft(ctx);
  const bar = h("progress", {
    max: step.countdown_s,
    value: step.countdown_s - left,
    aria: { label: t("Contact time") },
  });
  const restart = bigButton(
    t("Start the time again"),
    () =>
      ctx.change(t("Time started again"), (night) => {
        night.plan.sheet = { ...sheetOf(night), since: ctx.now().toISOString() };
      }),
    { data: { k: "restart" } },
  );
  const tick = () => {
    const now = secondsLeft(ctx);
    figure.textContent = now ? stopwatch(now) : t("Time is over");
    bar.value = step.countdown_s - now;
    if (now) return;
    clearInterval(timer);
    if (!left) return;
    remind();
    announce(t("Time is over"));
    ctx.redraw();
  };
  const timer = setInterval(() => (figure.isConnected ? tick() : clearInterval(timer)), 500);
  tick();
  return [figure, bar, left ? restart : null];
}

/* What a step asks --------------------------------------------------------------------------------- */

/** Whether there are no needles at all. @param {Ctx} ctx */
const ofCatheter = (ctx) => ctx.kit.access?.kind === "catheter";

/**
 * Needle details that are shown, and taken over by the touch that goes on: prescription, other needle, last time.
 * @param {Ctx} ctx
 */
function needleOf(ctx, use) {
  /** @type {Partial<UsedSite>} */
  const row = siteOf(ctx.night, use) ?? {};
  const other = siteOf(ctx.night, use === "arterial" ? "venous" : "arterial") ?? {};
  const before = plain("needle") ?? {};
  const first = (name, last) => row[name] || other[name] || last || null;
  return {
    gauge: row.gauge ?? (ofCatheter(ctx) ? null : ctx.kit.prescription?.needle_gauge) ?? null,
    needle: first("needle", before.needle) ?? "",
    length_mm: first("length_mm", before.length_mm),
  };
}

/** @param {Kit} kit */
const withUnitOf = (kit, name, value) => withUnit(value, limitsOf(kit, `sites.${name}`)?.unit);

/** A needle for the record, its kind as a code. @param {Kit} kit @param {Partial<UsedSite>} row */
const needleCodes = (kit, { gauge, needle, length_mm: length }) =>
  [gauge && withUnitOf(kit, "gauge", gauge), needle && coded(needle), length && withUnitOf(kit, "length_mm", length)]
    .filter(Boolean)
    .join(", ");

/** Numbers of a needle that the unit declares and no step asks for. @param {Ctx} ctx */
function othersOf(ctx, use) {
  const row = siteOf(ctx.night, use);
  const index = row ? ctx.night.doc.sites.indexOf(row) : -1;
  const others = askedAt(ctx.kit, "sites").filter((name) => !IN_STEPS.includes(name));
  return index < 0 ? [] : others.map((name) => fieldRow(ctx, `sites[${index}].${name}`));
}

/** @param {Ctx} ctx */
function needleAsked(ctx, { use }) {
  const shown = needleOf(ctx, use);
  const set = (name, label, options) => (value) =>
    ctx.change(t("{label}: {value}", { label, value: options.find((each) => each.value === value).label }), (night) =>
      changeSite(night, use, { ...shown, [name]: value }),
    );
  const row = (name, label, options) => choiceRow(label, options, shown[name], set(name, label, options));
  const numbers = (name, values) =>
    row(
      name,
      shortOf(ctx.kit, `sites.${name}`),
      values.map((value) => ({ value, label: withUnitOf(ctx.kit, name, value) })),
    );
  const rows = [
    numbers("gauge", GAUGES),
    row("needle", t("Kind"), needleKinds()),
    numbers("length_mm", LENGTHS_MM),
    othersOf(ctx, use),
  ].flat();
  if (here(ctx).shown.length < 2) return rows;
  const whole = shown.gauge && shown.needle && shown.length_mm;
  const words = wordsOf(ctx.kit, needleCodes(ctx.kit, shown));
  return [h("details", { class: "other", open: !whole }, h("summary", { text: words || t("Which needle") }), rows)];
}

const fillRow = (use, values) => (night, iso) => changeSite(night, use, values(iso));

/** @param {Ctx} ctx */
function failed(ctx, step, field) {
  ctx.change(withSaid(step.words, say(ctx.kit, field === "flash" ? "no" : "not_freely")), (night) => {
    fillRow(step.use, () => ({ [field]: false }))(night);
    stamp(night, step, coded(field === "flash" ? "no" : "not_freely"), ctx.now().toISOString());
    night.plan.sheet = { ...sheetOf(night), failed: step.use };
  });
}

/** Two answers in words of their own; the bad one leads to what can be done. @param {Ctx} ctx */
function goodOrBad(ctx, step, field, { yes, no, code }) {
  const good = () =>
    forward(
      ctx,
      coded(code),
      fillRow(step.use, () => ({ [field]: true })),
    );
  return h(
    "div",
    { class: "pair" },
    bigButton(yes, good, { tone: "go", data: { k: "yes" } }),
    bigButton(no, () => failed(ctx, step, field), { data: { k: "no" } }),
  );
}

/** Numbers to touch; the touch leads on. @param {Ctx} ctx */
function scale(ctx, step, field, numbers) {
  const pick = (n) => () =>
    forward(
      ctx,
      String(n),
      fillRow(step.use, () => ({ [field]: n })),
    );
  const stands = siteOf(ctx.night, step.use)?.[field];
  return h(
    "div",
    { class: "scale", role: "group", aria: { label: step.words } },
    numbers.map((n) =>
      h(
        "button",
        {
          type: "button",
          class: "choice",
          aria: { pressed: stands === n },
          data: { k: `${field}-${n}` },
          on: { click: pick(n) },
        },
        String(n),
      ),
    ),
  );
}

/** @param {Ctx} ctx */
function pumpAsked(ctx) {
  const limits = limitsOf(ctx.kit, "readings.qb_ml_min");
  const set = ctx.kit.prescription?.qb_ml_min;
  const label = t("Pump speed now");
  const write = (value) =>
    ctx.change(t("{label}: {value}", { label, value: withUnit(value, limits?.unit) }), (night) => {
      night.plan.sheet = { ...sheetOf(night), qb: value };
    });
  return [
    limits &&
      valueRow({
        name: "qb",
        label,
        limits: { ...limits, usual: limits.hard },
        value: sheetOf(ctx.night).qb ?? null,
        last: null,
        confirmed: true,
        write,
        confirm: write,
      }),
    set
      ? h("p", {
          class: "soft",
          text: t("Prescribed: {value}. Slow first; raise it as you were trained.", {
            value: withUnit(set, limits?.unit),
          }),
        })
      : null,
  ];
}

const asked = {
  needle: needleAsked,
  flash: (ctx, step) => goodOrBad(ctx, step, "flash", { yes: t("Yes"), no: t("No"), code: "yes" }),
  flush: (ctx, step) =>
    goodOrBad(ctx, step, "flushed", {
      yes: t("Easily: no swelling, no pain"),
      no: t("Hard to push, swelling or pain"),
      code: "freely",
    }),
  pain: (ctx, step) => [
    scale(ctx, step, "pain", [...Array(11).keys()]),
    step.hint ? null : h("p", { class: "soft", text: t("0 is no pain, 10 the worst.") }),
  ],
  attempts: (ctx, step) => scale(ctx, step, "attempts", [1, 2, 3, 4, 5, 6]),
  pump_speed: pumpAsked,
  prescribed_speed: (ctx) => speedOf(ctx.kit.prescription?.qb_ml_min, t("Tonight's speed")),
  bolus: bolusAsked,
  set_machine: machineAsked,
};

/** @param {number | null | undefined} speed */
function speedOf(speed, label) {
  if (!speed) return note(t("No speed is prescribed. Ask the unit which one."), "care");
  return figureRow(label, withUnit(speed, "mL/min"));
}

/** In the short form: what is asked of a needle, in one touch where all of it is as it should be. @param {Ctx} ctx */
function allWell(ctx) {
  const { shown, step } = here(ctx);
  const said = { flash: t("blood came back"), flush: t("flushed easily, no swelling"), attempts: t("first attempt") };
  const codes = { flash: coded("yes"), flush: coded("freely"), attempts: "1" };
  const fields = { flash: ["flash", true], flush: ["flushed", true], attempts: ["attempts", 1] };
  const values = Object.fromEntries(shown.map((each) => fields[each.asks]));
  const answers = Object.fromEntries(shown.map((each) => [each.key, codes[each.asks]]));
  const { attempts } = siteOf(ctx.night, step.use) ?? {};
  if (attempts) Object.assign(values, { attempts }); // it was not the first: that stays as it was counted
  const single = () =>
    ctx.change(t("One by one"), (night) => {
      night.plan.sheet = { ...sheetOf(night), single: true };
    });
  const good = () =>
    forwardAll(
      ctx,
      answers,
      fillRow(step.use, () => values),
    );
  return [
    h("p", { class: "step-words", text: step.use === "arterial" ? t("The arterial needle") : t("The venous needle") }),
    bigButton(t("As it should be"), good, {
      tone: "go",
      hint: shown.map((each) => said[each.asks]).join(" · "),
      data: { k: "all-well" },
    }),
    bigButton(t("Not so: one by one"), single, { data: { k: "single" } }),
  ];
}

/* Heparin and the machine -------------------------------------------------------------------------- */

/** @param {Ctx} ctx */
const bolusOf = (ctx) => heparin(ctx.kit)[0];

/** @param {Ctx} ctx */
function giveBolus(ctx, amount, asked) {
  const kind = bolusOf(ctx);
  const words = withUnit(amount, wordsOf(ctx.kit, kind.unit));
  forward(ctx, words, (night) => putMedicine(ctx, night, kind, amount, asked));
}

/** @param {Ctx} ctx */
function bolusAsked(ctx) {
  const kind = bolusOf(ctx);
  const given = givenOf(ctx.night, kind);
  const other = async () => {
    const amount = await askNumber({ label: kind.label, limits: doseLimits(ctx.kit, kind) });
    if (typeof amount === "number") giveBolus(ctx, amount, true);
  };
  return [
    figureRow(t("Prescribed"), withUnit(kind.prescribed ?? 0, wordsOf(ctx.kit, kind.unit))),
    given && note(t("Noted as given at {time}.", { time: timeOf(given.at) }), "good"),
    !given && bigButton(t("Another amount"), other, { data: { k: "bolus-other" } }),
    !given && bigButton(t("Not given"), () => forward(ctx, coded("not_given")), { data: { k: "bolus-none" } }),
  ];
}

/** What is ordered of the dialysate, as it is set. */
const ON_THE_MACHINE = ["qd_ml_min", "dialysate_temperature_c"];

/** @param {Ctx} ctx @param {string} name */
function orderedLine(ctx, name) {
  const value = ctx.kit.prescription?.[name];
  const path = `readings.${name}`;
  return value == null ? null : [shortOf(ctx.kit, path), withUnit(value, limitsOf(ctx.kit, path)?.unit)];
}

const TEMPERATURE = "set_temperature_c";

/** The temperature of the dialysate where another one is set than prescribed, or none is. @param {Ctx} ctx */
async function askTemperature(ctx) {
  const limits = limitsOf(ctx.kit, TEMPERATURE);
  const label = t(limits?.label ?? TEMPERATURE);
  const value = await askNumber({
    label,
    limits,
    value: ctx.night.doc[TEMPERATURE],
    aside: orderedWords(ctx, TEMPERATURE),
  });
  if (value === undefined) return;
  const words = t("{label}: {value}", { label, value: value === null ? "–" : inWords(limits, value) });
  ctx.change(words, (night) => takeNumber(night, TEMPERATURE, value, limits));
}

/** What is set, where that was noted. @param {Ctx} ctx */
function temperatureSet(ctx) {
  const limits = limitsOf(ctx.kit, TEMPERATURE);
  const set = ctx.night.doc[TEMPERATURE];
  return set == null ? null : [shortOf(ctx.kit, TEMPERATURE), inWords(limits, set)];
}

/** What has to stand on the machine: the plan, how long, dialysate, heparin. @param {Ctx} ctx */
function machineAsked(ctx) {
  const { planned_uf_l: litres, planned_minutes: planned } = ctx.night.doc;
  const minutes = planned ?? ctx.kit.prescription?.minutes;
  const rate = rateOf(ctx);
  return [
    litres == null &&
      note(t("No fluid to take off was worked out for tonight. Ask the unit, or go back and weigh."), "stop"),
    litres != null && figureRow(t("Fluid to take off"), litresWords(litres)),
    dl([
      minutes && [t("Length"), `${hours(minutes)} h`],
      ...ON_THE_MACHINE.map((name) => orderedLine(ctx, name)),
      temperatureSet(ctx),
      rate && [rate.label, withUnit(rate.prescribed, wordsOf(ctx.kit, rate.unit))],
      rate &&
        ctx.kit.prescription?.stop_minutes_before_end != null && [
          t("Heparin off"),
          t("{n} min before the end", { n: ctx.kit.prescription.stop_minutes_before_end }),
        ],
    ]),
    litres != null && bigButton(t("Something else is set"), () => askSet(ctx), { data: { k: "set-other" } }),
    limitsOf(ctx.kit, TEMPERATURE) &&
      bigButton(t("Another dialysate temperature is set"), () => askTemperature(ctx), {
        data: { k: "set-temperature" },
      }),
    bigButton(t("Go on without noting it"), () => forward(ctx, coded("no_answer")), { data: { k: "set-none" } }),
  ];
}

/** @param {Ctx} ctx */
const rateOf = (ctx) => heparin(ctx.kit).find((kind) => kind.unit === coded("units_h") && kind.prescribed);

/** @param {Ctx} ctx */
async function askSet(ctx) {
  const litres = await askNumber({
    label: t("Fluid removal set on the machine"),
    limits: limitsOf(ctx.kit, "set_uf_l"),
    aside: plannedWords(ctx),
  });
  if (typeof litres === "number") machineSet(ctx, litres, true);
}

/** @param {Ctx} ctx */
function machineSet(ctx, litres, asked = false) {
  const ordered = rateOf(ctx);
  const rate = ordered && !givenOf(ctx.night, ordered) ? ordered : null;
  const warmth = ctx.night.doc[TEMPERATURE];
  const said = [
    withUnit(litres, "L"),
    warmth != null && inWords(limitsOf(ctx.kit, TEMPERATURE), warmth),
    rate && withUnit(rate.prescribed, wordsOf(ctx.kit, rate.unit)),
  ];
  forward(ctx, coded("set_to", { what: said.filter(Boolean).join(", ") }), (night) => {
    writeNumber(night, "set_uf_l", litres, limitsOf(ctx.kit, "set_uf_l"), asked);
    if (rate) putMedicine(ctx, night, rate, rate.prescribed, false);
  });
}

/* When a needle does not work ---------------------------------------------------------------------- */

/** @param {Ctx} ctx */
function again(ctx, use) {
  moveTo(ctx, restartOf(here(ctx).steps, use, false), say(ctx.kit, ANOTHER), (night, iso) => {
    changeSite(night, use, { attempts: (siteOf(night, use)?.attempts ?? 1) + 1, flash: null, flushed: null });
    stampStep(night, ANOTHER, coded(ANOTHER), iso);
  });
}

/** Whether swelling was noted at the needle that does not work. @param {Ctx} ctx */
const isSwollen = (ctx, use) =>
  isGivenUp(siteOf(ctx.night, use)) &&
  ctx.night.doc.events.some((event) => event.kind === "infiltration" && event.use === use);

/**
 * Swelling goes into the record as what it is, with the needle that it is at; that one is given up with it.
 * @param {Ctx} ctx
 */
function swelling(ctx, use) {
  if (isSwollen(ctx, use))
    return note(
      t("Swelling at this needle is noted. Do not put in another needle before the unit has said so."),
      "stop",
    );
  const write = () =>
    ctx.change(t("Swelling at this needle"), (night) => {
      addEvent(night, {
        kind: "infiltration",
        use,
        note: nameOf(ctx, use) ?? useWords(use),
        at: ctx.now().toISOString(),
      });
      giveUp(night, use);
    });
  return bigButton(t("There is swelling: note it"), write, { data: { k: "swelling" } });
}

/** The swelling whose steps are gone through just now. @param {Ctx} ctx */
const swellingUnderWay = (ctx) =>
  underWay(ctx)
    .map((index) => ctx.night.doc.events[index])
    .find((event) => event.kind === "infiltration");

/** No other place: while it runs the step of the swelling about that, else the screen about it. @param {Ctx} ctx */
function leave(ctx, use) {
  const event = ctx.night.doc.started_at && swellingUnderWay(ctx);
  ctx.change(say(ctx.kit, "no_other_place"), (night) => {
    giveUp(night, use);
    night.plan.sheet = { ...sheetOf(night), failed: "" };
    if (!event) return;
    noOtherPlace(night, night.doc.events.indexOf(event));
    setStand(night, event, { step: "call_no_place", since: ctx.now().toISOString(), past: [] });
  });
  if (event) go("flow", ...addressOf(event));
  else go("noplace", use);
}

/** @param {Ctx} ctx */
function noPlace(ctx, use) {
  const left = placesLeft(ctx.kit, ctx.night, use).length;
  const button = bigButton(say(ctx.kit, "no_other_place"), () => leave(ctx, use), { data: { k: "no-place" } });
  return left ? button : [note(noneLeft(), "care"), button];
}

/** @param {Ctx} ctx */
const sameSite = (ctx, use, hard) =>
  bigButton(t("Another attempt at the same site"), () => again(ctx, use), {
    hint: hard ? t("Never where it swells") : null,
    data: { k: "again" },
  });

const otherSite = (use) =>
  bigButton(t("Take another site"), () => go("access", use), {
    hint: t("Only after the unit has said so"),
    data: { k: "other-site" },
  });

/** @param {Ctx} ctx */
const allTheSame = (ctx) =>
  bigButton(t("Go on all the same"), () => forward(ctx, coded("all_the_same")), {
    hint: t("Only after the unit has said so"),
    data: { k: "all-the-same" },
  });

/** @param {Ctx} ctx */
function notWorking(ctx, use) {
  const catheter = ofCatheter(ctx);
  const flushed = siteOf(ctx.night, use)?.flushed;
  const words = catheter
    ? t("This side of the catheter is blocked or slow. Never push. Do as you were trained, or call the unit.")
    : flushed === false
      ? t(
          "Do not use this needle. Swelling: take it out, press and cool. It grows fast, or the hand is cold, numb " +
            "or white: call the emergency number.",
        )
      : t(
          "The needle is not right. If it came out, press on the place. Swelling, pain that stays, or unsure: call " +
            "the unit.",
        );
  const swollen = isSwollen(ctx, use);
  return [
    note(words, "care"),
    flushed === false && !catheter ? swelling(ctx, use) : null,
    catheter || swollen ? null : sameSite(ctx, use, flushed === false),
    ...callButtons(ctx.kit.unit, "on_call"),
    swollen && placesLeft(ctx.kit, ctx.night, use).length ? otherSite(use) : null,
    catheter ? null : noPlace(ctx, use),
    swollen ? null : allTheSame(ctx),
  ];
}

/* The screen --------------------------------------------------------------------------------------- */

/** @param {Ctx} ctx */
const nameOf = (ctx, use) => siteName(ctx.kit, siteOf(ctx.night, use)?.site);

/** No needle goes in while a stop stands as failed. @param {Ctx} ctx */
const isStopped = (ctx) => ctx.night.stage === "before" && stopsHeld(ctx.kit, ctx.night).length > 0;

/** Which needle goes in first is the patient's; asked where the first of them begins. @param {Ctx} ctx */
function whichFirst(ctx) {
  const { steps, at, sheet } = here(ctx);
  const first = firstUse(steps);
  if (!first || sheet.only || siteOf(ctx.night, first)?.at || at !== restartOf(steps, first, false) - 1) return null;
  const other = first === "arterial" ? "venous" : "arterial";
  const turn = () => {
    setPlain("first", other);
    ctx.change(other === "venous" ? t("Venous needle first") : t("Arterial needle first"), (night) => {
      night.plan.sheet = { ...sheetOf(night), first: other };
    });
  };
  const words = other === "venous" ? t("Rather the venous needle first") : t("Rather the arterial needle first");
  return bigButton(words, turn, { data: { k: "first" } });
}

/**
 * One step in large letters, several as a list; what each asks beneath it.
 * @param {Ctx} ctx
 * @param {SheetStep[]} shown
 */
function wordsOfSteps(ctx, shown) {
  const parts = (step) => [
    step.hint && shown.length < 2 ? h("p", { class: "soft", text: step.hint }) : null,
    step.speed_ml_min ? speedOf(step.speed_ml_min, t("About")) : null,
    step.use && step.asks && !siteOf(ctx.night, step.use) ? null : asked[step.asks]?.(ctx, step),
  ];
  if (shown.length < 2)
    return shown.map((step) => [h("p", { class: "step-words", text: step.words }), parts(step)].flat(2));
  return stepList(shown, (step) => parts(step).flat(2));
}

/** @param {Ctx} ctx */
function draw(ctx) {
  if (!ctx.night) return note(t("No treatment is open."));
  keepAwake(true);
  if (isStopped(ctx)) return [...stopNotes(ctx), ...callButtons(ctx.kit.unit, "on_call")];
  const { step, sheet, shown } = here(ctx);
  const several = shown.length > 1 && step && !isQuestion(step);
  document.documentElement.dataset.asks = sheet.failed ? "failed" : several ? "several" : (step?.asks ?? "");
  if (!step) return lastScreen(ctx);
  if (sheet.failed) return notWorking(ctx, sheet.failed);
  const use = shown.find((each) => each.use)?.use;
  const name = use && nameOf(ctx, use);
  const unchosen = shown.find((each) => each.use && each.asks && !siteOf(ctx.night, each.use));
  if (isQuestion(step) && shown.length > 1 && !unchosen) return allWell(ctx);
  return [
    step.countdown_s ? countdown(ctx) : null,
    name ? h("p", { class: "soft" }, h("b", { text: name })) : null,
    wordsOfSteps(ctx, shown),
    unchosen
      ? bigButton(t("Choose the site first"), () => go("access", unchosen.use), { data: { k: "choose" } })
      : whichFirst(ctx),
    uncheckedLine(ctx.kit, ctx.kit.run_sheet?.checked),
    shortRow(ctx),
  ]
    .flat(4)
    .filter(Boolean);
}

/** What is open, each one touch away; it may stay so, and the unit sees it. @param {Ctx} ctx */
function openSteps(ctx) {
  const { steps } = here(ctx);
  const open = gaps(ctx);
  if (!open.length) return null;
  const back = (step) => () => {
    ctx.change(step.words, (night) => {
      night.plan.sheet = { ...sheetOf(night), at: steps.indexOf(step), gap: true, since: ctx.now().toISOString() };
    });
    window.scrollTo(0, 0);
    sayStep(ctx);
  };
  return note(
    t("Not done, or without an answer. You may begin without; the unit sees it."),
    "care",
    open.map((step) => bigButton(step.words, back(step), { data: { k: `open-${step.key}` } })),
  );
}

/** @param {Ctx} ctx */
function lastScreen(ctx) {
  const rows = ctx.night.doc.sites.map((row) => {
    const name = placeName(ctx.kit, row);
    const tries = row.attempts && tn("{n} attempt", "{n} attempts", row.attempts);
    return [
      name,
      [
        wordsOf(ctx.kit, needleCodes(ctx.kit, row)),
        tries,
        row.pain != null && `${shortOf(ctx.kit, "sites.pain")} ${row.pain}`,
        wordsOf(ctx.kit, row.note),
      ]
        .filter(Boolean)
        .join(" · ") || t("nothing written"),
    ];
  });
  return [
    openSteps(ctx),
    h("p", { class: "step-words", text: t("Does the machine run, and are both needles taped and in sight?") }),
    dl(rows),
  ];
}

/** @param {Ctx} ctx */
function start(ctx, steps = [], at = sheetOf(ctx.night).at) {
  replace("running");
  ctx.change(say(ctx.kit, RUNS), (night) => {
    const iso = ctx.now().toISOString();
    for (const step of steps) stamp(night, step, "", iso);
    if (steps.length) night.plan.sheet = { ...sheetOf(night), at };
    setMoment(night, "started_at", night.doc.started_at ?? minuteOf(ctx.now()));
    setFields(night, { run_sheet_version: ctx.kit.run_sheet?.version ?? night.doc.run_sheet_version });
    stampStep(night, RUNS, coded(RUNS), iso);
    night.screen = location.hash;
  });
}

/**
 * Take a site for a use. One that a needle has been in stays in the record beside the new one, and the sheet begins
 * again where the new place is cleaned; with the other needle in, for this one alone.
 * @param {Night} night
 */
export function takeSite(night, use, site) {
  const row = siteOf(night, use);
  if (row?.site === site) return;
  const used = row && (row.at || row.flash != null || row.note);
  if (row && !used) return changeSite(night, use, { site });
  if (used) giveUp(night, use);
  addSite(night, use, site);
  if (!used) return;
  const sheet = sheetOf(night);
  const other = siteOf(night, use === "arterial" ? "venous" : "arterial");
  if (sheet.failed === use || night.stage !== "before")
    night.plan.sheet = { ...sheet, failed: "", restart: use, only: other?.at || night.stage !== "before" ? use : "" };
}

/** @param {Ctx} ctx */
function sooner(ctx, step) {
  const gone = { n: step.countdown_s - secondsLeft(ctx), all: step.countdown_s };
  forwardAll(ctx, { [step.key]: coded("sooner", gone) });
}

/** A needle put in anew because of some trouble goes back to its steps. @param {Ctx} ctx */
function backTo(ctx) {
  const event = swellingUnderWay(ctx);
  if (event) return { label: t("Back to what to do"), go: ["flow", ...addressOf(event)], tone: "go" };
  return { label: t("Back to the treatment"), go: "running", tone: "go" };
}

/** @param {Ctx} ctx */
const finished = (ctx) =>
  ctx.night.doc.started_at ? backTo(ctx) : { label: say(ctx.kit, RUNS), tap: () => start(ctx), tone: "go" };

/** The last screen of the short form begins the treatment itself, where nothing else is open. @param {Ctx} ctx */
const isLastOfShort = (ctx, shown, at, steps) =>
  inShort(ctx) &&
  shown.length > 1 &&
  at + shown.length >= steps.length &&
  !ctx.night.doc.started_at &&
  gaps(ctx).every((step) => shown.includes(step));

/** What the large touch does on this step. @param {Ctx} ctx */
function main(ctx) {
  const { step, sheet, shown, at, steps } = here(ctx);
  if (!step) return finished(ctx);
  if (sheet.failed) return failedMain(ctx, sheet.failed);
  if (secondsLeft(ctx)) return { label: t("Go on sooner"), tap: () => sooner(ctx, step), tone: "plain" };
  if (step.asks === "bolus" && !givenOf(ctx.night, bolusOf(ctx))) return bolusMain(ctx);
  if (step.asks === "set_machine") return machineMain(ctx);
  if (PICKED.has(step.asks))
    return { label: t("Go on without an answer"), tap: () => withoutAnswer(ctx, shown), tone: "plain" };
  if (isLastOfShort(ctx, shown, at, steps))
    return { label: say(ctx.kit, RUNS), tap: onceSeen(() => start(ctx, shown, steps.length)), tone: "go" };
  return shown.length > 1
    ? { label: t("All done, next"), tap: onceSeen(() => done(ctx)), tone: "go" }
    : { label: t("Done, next"), tap: () => done(ctx), tone: "go" };
}

/** @param {Ctx} ctx */
function failedMain(ctx, use) {
  if (ofCatheter(ctx)) return { label: t("Try again"), tap: () => again(ctx, use), tone: "plain" };
  if (isSwollen(ctx, use) || !placesLeft(ctx.kit, ctx.night, use).length) return callAction(ctx.kit.unit, "on_call");
  const hard = siteOf(ctx.night, use)?.flushed === false;
  const hint = hard ? t("After a swelling only when the unit has said so") : null;
  return { label: t("Take another site"), go: ["access", use], hint };
}

/** @param {Ctx} ctx @param {SheetStep[]} shown */
const withoutAnswer = (ctx, shown) =>
  forwardAll(ctx, Object.fromEntries(shown.map((each) => [each.key, coded("no_answer")])));

/** @param {Ctx} ctx */
function bolusMain(ctx) {
  const kind = bolusOf(ctx);
  const amount = withUnit(kind.prescribed, wordsOf(ctx.kit, kind.unit));
  return {
    label: t("Given: {value}", { value: amount }),
    tap: () => giveBolus(ctx, kind.prescribed, false),
    tone: "go",
  };
}

/** @param {Ctx} ctx */
function machineMain(ctx) {
  const { planned_uf_l: litres } = ctx.night.doc;
  if (litres == null) return { label: t("Enter what is set"), tap: () => askSet(ctx), tone: "go" };
  const label = t("Set on the machine: {value}", { value: litresWords(litres) });
  return { label, tap: () => machineSet(ctx, litres), tone: "go" };
}

/** @param {Ctx} ctx */
function done(ctx) {
  const { shown } = here(ctx);
  const { qb } = sheetOf(ctx.night);
  const unit = limitsOf(ctx.kit, "readings.qb_ml_min")?.unit;
  /** @type {Record<string, string>} */
  const said = {};
  const fills = [];
  for (const step of shown) {
    const speed = step.asks === "pump_speed" ? qb : step.asks === "prescribed_speed" && ctx.kit.prescription?.qb_ml_min;
    if (speed) said[step.key] = withUnit(speed, unit);
    if (step.asks !== "needle" || !siteOf(ctx.night, step.use)) continue;
    const needle = needleOf(ctx, step.use);
    setPlain("needle", { needle: needle.needle, length_mm: needle.length_mm });
    said[step.key] = needleCodes(ctx.kit, needle);
    fills.push(fillRow(step.use, (iso) => ({ ...needle, at: iso })));
  }
  forwardAll(ctx, said, (night, iso) => {
    for (const fill of fills) fill(night, iso);
  });
}

/** @param {Ctx} ctx */
function bar(ctx) {
  if (!ctx.night) return [{ label: t("Tonight"), go: "tonight" }];
  if (isStopped(ctx)) return [{ label: t("Back to the checks"), go: ["checks", "setup"] }];
  const { at } = here(ctx);
  return [
    main(ctx),
    at ? { label: t("One step back"), tap: () => byTouch(ctx) } : { label: t("To the sites"), go: "access" },
  ];
}

register("needles", { title: titleOf, draw, bar, light: true });
