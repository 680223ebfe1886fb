/* The run sheet: one step a screen, forward by one large touch, each step stamped by the phone's clock. */

import { keepAwake } from "../awake.js";
import { callButtons } from "../calls.js";
import { stopsHeld } from "../check_rows.js";
import { needleKinds } from "../choices.js";
import { minuteOf } from "../course.js";
import { addSite, askedAt, changeSite, limitsOf, setFields, setMoment, shortOf, siteOf, stampStep } from "../draft.js";
import { withUnit } from "../numbers.js";
import { asKept, coded, say, wordsOf } from "../ready.js";
import { remind } from "../reminders.js";
import { go, draw as redraw, register, replace } from "../router.js";
import { stopNotes } from "../stops.js";
import { announce, bigButton, choiceRow, dl, h, note } from "../ui.js";
import { fieldRow, valueRow } from "../value_row.js";
import { plain, setPlain } from "../vault.js";
import { t, tn } from "../words.js";

const GAUGES = [14, 15, 16, 17];
const LENGTHS_MM = [15, 20, 25, 32, 38];
const IN_STEPS = ["gauge", "length_mm", "attempts", "pain", "bleeding_minutes"]; // each has a place of its own
const PICKED = new Set(["flash", "flush", "pain", "attempts"]); // the answer itself leads on

const ANOTHER = "another_attempt";
const RUNS = "running";

/** The steps of the kit; without a sheet the last screen alone, which starts the record. @param {Kit} kit */
const stepsOf = (kit) => kit.run_sheet?.steps ?? [];
/** @param {Night} night */
const sheetOf = (night) => night.plan.sheet ?? { at: 0, since: null, failed: "" };

/** @param {Ctx} ctx */
function here(ctx) {
  const steps = stepsOf(ctx.kit);
  const sheet = sheetOf(ctx.night);
  // Another site was taken after a needle that failed: the sheet goes on where that use begins.
  const at = sheet.restart ? firstStepOf(steps, sheet.restart) : Math.min(sheet.at, steps.length);
  return { steps, sheet, at, step: steps[at] };
}

/** @param {Ctx} ctx */
const titleOf = (ctx) => {
  if (!ctx.night) return t("Needles");
  const { at, steps } = here(ctx);
  return at < steps.length ? t("Step {n} of {all}", { n: at + 1, all: steps.length }) : t("All steps done");
};

/** Say the new step to those who listen, after the undo bar has said what was done. @param {Ctx} ctx */
const sayStep = (ctx) => announce(`${titleOf(ctx)}. ${here(ctx).step?.words ?? ""}`);

/** @param {Ctx} ctx */
function moveTo(ctx, at, label, fill = (_night, _iso) => {}) {
  const since = ctx.now().toISOString();
  ctx.change(label, (night) => {
    fill(night, since);
    night.plan.sheet = { ...sheetOf(night), at, since, failed: "", restart: "" };
  });
  window.scrollTo(0, 0);
  sayStep(ctx);
}

const withSaid = (words, said) => (said ? `${words}: ${said}` : words);

/**
 * One step on: stamped with its words and what was answered, in codes. fill(night, iso) writes the answer.
 * @param {Ctx} ctx
 */
function forward(ctx, said = "", fill = (_night, _iso) => {}) {
  const { step, at } = here(ctx);
  moveTo(ctx, at + 1, withSaid(step.words, wordsOf(ctx.kit, said)), (night, iso) => {
    fill(night, iso);
    stampStep(night, step.key, withSaid(asKept(step), said).slice(0, 500), iso);
  });
}

/** @param {Ctx} ctx */
const backward = (ctx) => moveTo(ctx, Math.max(0, here(ctx).at - 1), t("One step back"));

/* Countdown ---------------------------------------------------------------------------------------- */

/** @param {Ctx} ctx */
const secondsLeft = (ctx) => {
  const { step, sheet } = here(ctx);
  if (!step?.countdown_s || !sheet.since) return 0;
  return Math.max(0, Math.ceil(step.countdown_s - (ctx.now().getTime() - Date.parse(sheet.since)) / 1000));
};

const clockWords = (seconds) => `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;

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
    figure.textContent = now ? clockWords(now) : t("Time is over");
    bar.value = step.countdown_s - now;
    if (now) return;
    clearInterval(timer);
    if (!left) return;
    remind();
    announce(t("Time is over"));
    redraw();
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
    gauge: row.gauge ?? ctx.kit.prescription?.needle_gauge ?? null,
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
  return [
    numbers("gauge", GAUGES),
    row("needle", t("Kind"), needleKinds()),
    numbers("length_mm", LENGTHS_MM),
    othersOf(ctx, use),
  ].flat();
}

const fillRow = (use, values) => (night, iso) => changeSite(night, use, values(iso));

/** @param {Ctx} ctx */
function failed(ctx, step, field) {
  ctx.change(withSaid(step.words, say(ctx.kit, "no")), (night) => {
    fillRow(step.use, () => ({ [field]: false }))(night);
    stampStep(night, step.key, withSaid(asKept(step), coded("no")), ctx.now().toISOString());
    night.plan.sheet = { ...sheetOf(night), failed: step.use };
  });
}

/** @param {Ctx} ctx */
function yesOrNo(ctx, step, field) {
  const buttons = [
    bigButton(
      t("Yes"),
      () =>
        forward(
          ctx,
          coded("yes"),
          fillRow(step.use, () => ({ [field]: true })),
        ),
      { tone: "go", data: { k: "yes" } },
    ),
    bigButton(t("No"), () => failed(ctx, step, field), { data: { k: "no" } }),
  ];
  return h("div", { class: "pair" }, buttons);
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
  flash: (ctx, step) => yesOrNo(ctx, step, "flash"),
  flush: (ctx, step) => yesOrNo(ctx, step, "flushed"),
  pain: (ctx, step) => [
    scale(ctx, step, "pain", [...Array(11).keys()]),
    step.hint ? null : h("p", { class: "soft", text: t("0 is no pain, 10 the worst.") }),
  ],
  attempts: (ctx, step) => scale(ctx, step, "attempts", [1, 2, 3, 4, 5, 6]),
  pump_speed: pumpAsked,
};

/* When a needle does not work ---------------------------------------------------------------------- */

const firstStepOf = (steps, use) => {
  const needle = steps.findIndex((step) => step.use === use && step.asks === "needle");
  return needle >= 0 ? needle : steps.findIndex((step) => step.use === use);
};

/** @param {Ctx} ctx */
function again(ctx, use) {
  moveTo(ctx, firstStepOf(here(ctx).steps, use), say(ctx.kit, ANOTHER), (night, iso) => {
    changeSite(night, use, { attempts: (siteOf(night, use)?.attempts ?? 1) + 1, flash: null, flushed: null });
    stampStep(night, ANOTHER, coded(ANOTHER), iso);
  });
}

/** @param {Ctx} ctx */
function notWorking(ctx, use) {
  const catheter = ctx.kit.access?.kind === "catheter";
  const words = catheter
    ? t("This lumen does not run freely. Never use force. Do as you were trained, or call the unit.")
    : t(
        "The needle is not right. If it came out, press on the place. Swelling, pain that stays, or unsure: call " +
          "the unit.",
      );
  return [
    note(words, "care"),
    bigButton(catheter ? t("Try again") : t("Another attempt at the same site"), () => again(ctx, use), {
      data: { k: "again" },
    }),
    catheter ? null : bigButton(t("Take another site"), () => go("access", use), { data: { k: "other-site" } }),
    ...callButtons(ctx.kit.unit, "on_call"),
  ];
}

/* The screen --------------------------------------------------------------------------------------- */

/** @param {Ctx} ctx */
const siteName = (ctx, use) => ctx.kit.access?.sites.find((site) => site.id === siteOf(ctx.night, use)?.site)?.name;

/** No needle goes in while a stop stands as failed. @param {Ctx} ctx */
const isStopped = (ctx) => ctx.night.stage === "before" && stopsHeld(ctx.kit, ctx.night).length > 0;

/** @param {Ctx} ctx */
function draw(ctx) {
  if (!ctx.night) return note(t("No treatment is open."));
  keepAwake(true);
  if (isStopped(ctx)) return [...stopNotes(ctx), ...callButtons(ctx.kit.unit, "on_call")];
  const { step, sheet } = here(ctx);
  document.documentElement.dataset.asks = step?.asks ?? "";
  if (!step) return lastScreen(ctx);
  if (sheet.failed) return notWorking(ctx, sheet.failed);
  const name = step.use && siteName(ctx, step.use);
  const unchosen = step.use && step.asks && !siteOf(ctx.night, step.use);
  return [
    h("p", { class: "step-words", text: step.words }),
    name || step.hint
      ? h("p", { class: "soft" }, name && h("b", { text: name }), name && step.hint ? " · " : "", step.hint)
      : null,
    step.countdown_s ? countdown(ctx) : null,
    unchosen
      ? bigButton(t("Choose the site first"), () => go("access", step.use), { data: { k: "choose" } })
      : asked[step.asks]?.(ctx, step),
  ]
    .filter(Boolean)
    .flat(2);
}

/** @param {Ctx} ctx */
function lastScreen(ctx) {
  const rows = ctx.night.doc.sites.map((row) => {
    const name = ctx.kit.access?.sites.find((site) => site.id === row.site)?.name ?? t("Site");
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
    h("p", { class: "step-words", text: t("Does the machine run, and are both needles taped and in sight?") }),
    dl(rows),
  ];
}

/** @param {Ctx} ctx */
function start(ctx) {
  replace("running");
  ctx.change(say(ctx.kit, RUNS), (night) => {
    setMoment(night, "started_at", night.doc.started_at ?? minuteOf(ctx.now()));
    setFields(night, { run_sheet_version: ctx.kit.run_sheet?.version ?? night.doc.run_sheet_version });
    stampStep(night, RUNS, coded(RUNS), ctx.now().toISOString());
    night.screen = location.hash;
  });
}

/** Take a site for a use. One that a needle has been in stays in the record beside the new one. @param {Night} night */
export function takeSite(night, use, site) {
  const row = siteOf(night, use);
  if (row?.site === site) return;
  const used = row && (row.at || row.flash != null);
  if (row && !used) return changeSite(night, use, { site });
  if (used && !row.note) changeSite(night, use, { note: coded("given_up") });
  addSite(night, use, site);
  if (!used) return;
  const { sheet } = night.plan;
  if (sheet?.failed === use) Object.assign(sheet, { failed: "", restart: use });
}

/** @param {Ctx} ctx */
function sooner(ctx, step) {
  const gone = { n: step.countdown_s - secondsLeft(ctx), all: step.countdown_s };
  forward(ctx, coded("sooner", gone));
}

/** What the large touch does on this step. @param {Ctx} ctx */
function main(ctx) {
  const { step, sheet } = here(ctx);
  if (!step) return { label: say(ctx.kit, RUNS), tap: () => start(ctx), tone: "go" };
  if (sheet.failed)
    return { label: t("Go on all the same"), tap: () => forward(ctx, coded("all_the_same")), tone: "plain" };
  const left = secondsLeft(ctx);
  if (left) {
    return { label: t("Go on sooner"), tap: () => sooner(ctx, step), tone: "plain" };
  }
  if (PICKED.has(step.asks))
    return { label: t("Go on without an answer"), tap: () => forward(ctx, coded("no_answer")), tone: "plain" };
  return { label: t("Done, next"), tap: () => done(ctx, step), tone: "go" };
}

/** @param {Ctx} ctx */
function done(ctx, step) {
  const { qb } = sheetOf(ctx.night);
  if (step.asks === "pump_speed")
    return forward(ctx, qb ? withUnit(qb, limitsOf(ctx.kit, "readings.qb_ml_min")?.unit) : "");
  if (step.asks !== "needle" || !siteOf(ctx.night, step.use)) return forward(ctx);
  const shown = needleOf(ctx, step.use);
  setPlain("needle", { needle: shown.needle, length_mm: shown.length_mm });
  return forward(
    ctx,
    needleCodes(ctx.kit, shown),
    fillRow(step.use, (iso) => ({ ...shown, at: iso })),
  );
}

/** @param {Ctx} ctx */
function bar(ctx) {
  if (!ctx.night) return [{ label: t("Tonight"), go: "tonight" }];
  if (isStopped(ctx)) return [{ label: t("Back to the checks"), go: ["checks", "setup"] }];
  const { at } = here(ctx);
  return [
    main(ctx),
    at ? { label: t("One step back"), tap: () => backward(ctx) } : { label: t("To the sites"), go: "access" },
  ];
}

register("needles", { title: titleOf, draw, bar, light: true });
