/* The run sheet: one step a screen, forward by one large touch, each step stamped by the phone's clock. */

import { keepAwake } from "../awake.js";
import { callButtons } from "../calls.js";
import { uncheckedLine } from "../cards.js";
import { stopsHeld } from "../check_rows.js";
import { needleKinds, useWords } from "../choices.js";
import { minuteOf } from "../course.js";
import { addSite, askedAt, changeSite, limitsOf, setFields, setMoment, shortOf, siteOf, stampStep } from "../draft.js";
import { addressOf } from "../flow_state.js";
import { givenOf } from "../heparin.js";
import { failedMain, notWorking, swellingUnderWay } from "../needle_fails.js";
import { giveUp, ofCatheter, placeName, standingName } from "../needle_sites.js";
import { withUnit } from "../numbers.js";
import { coded, say, wordsOf } from "../ready.js";
import { remind } from "../reminders.js";
import { go, register, replace } from "../router.js";
import { bolusAsked, bolusMain, bolusOf, machineAsked, machineMain } from "../sheet_machine.js";
import {
  byTouch,
  forward,
  forwardAll,
  gaps,
  here,
  sayStep,
  sheetOf,
  stamp,
  titleOf,
  withSaid,
} from "../sheet_moves.js";
import { figureRow, stepList } from "../sheet_parts.js";
import { firstUse, isQuestion, restartOf } from "../sheet_steps.js";
import { inShort, onceSeen, shortRow } from "../short.js";
import { stopNotes } from "../stops.js";
import { announce, bigButton, choiceRow, dl, h, note } from "../ui.js";
import { fieldRow, valueRow } from "../value_row.js";
import { plain, setPlain } from "../vault.js";
import { stopwatch, t, tn } from "../words.js";

const GAUGES = [14, 15, 16, 17];
const LENGTHS_MM = [15, 20, 25, 32, 38];
const IN_STEPS = ["gauge", "length_mm", "attempts", "pain", "bleeding_minutes"]; // each has a place of its own
const PICKED = new Set(["flash", "flush", "pain", "attempts"]); // the answer itself leads on

const RUNS = "running";

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
      yes: ofCatheter(ctx) ? t("Easily") : t("Easily: no swelling, no pain"),
      no: ofCatheter(ctx) ? t("Hard to push, or not at all") : t("Hard to push, swelling or pain"),
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
  const flush = ofCatheter(ctx) ? t("flushed easily") : t("flushed easily, no swelling");
  const said = { flash: t("blood came back"), flush, attempts: t("first attempt") };
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
    h("p", {
      class: "step-words",
      text: ofCatheter(ctx)
        ? useWords(step.use)
        : step.use === "arterial"
          ? t("The arterial needle")
          : t("The venous needle"),
    }),
    bigButton(t("As it should be"), good, {
      tone: "go",
      hint: shown.map((each) => said[each.asks]).join(" · "),
      data: { k: "all-well" },
    }),
    bigButton(t("Not so: one by one"), single, { data: { k: "single" } }),
  ];
}

/* The screen --------------------------------------------------------------------------------------- */

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
  const name = use && standingName(ctx, use);
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
    h("p", {
      class: "step-words",
      text: ofCatheter(ctx)
        ? t("Does the machine run, and are both connections tight and in sight?")
        : t("Does the machine run, and are both needles taped and in sight?"),
    }),
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

/** @param {Ctx} ctx @param {SheetStep[]} shown */
const withoutAnswer = (ctx, shown) =>
  forwardAll(ctx, Object.fromEntries(shown.map((each) => [each.key, coded("no_answer")])));

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
    at
      ? { label: t("One step back"), tap: () => byTouch(ctx) }
      : { label: ofCatheter(ctx) ? t("To the catheter") : t("To the sites"), go: "access" },
  ];
}

register("needles", { title: titleOf, draw, bar, light: true });
