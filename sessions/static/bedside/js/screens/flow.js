/*
 * Trouble as a way through: one step a screen in large letters, what was answered in whole phrases, the unit's number
 * on each. `#/flow/clotting/0d5b1c3e-7a90` is the way of that event; where it stands is kept with the night, so a
 * killed page goes on there.
 */

import { aloudButton, stepCame } from "../aloud.js";
import { textField } from "../ask.js";
import { keepAwake } from "../awake.js";
import { measureRow } from "../bluetooth/row.js";
import { callButtons } from "../calls.js";
import { uncheckedLine } from "../cards.js";
import { eventWords } from "../choices.js";
import { later } from "../clock.js";
import { course, minuteOf } from "../course.js";
import { notSo } from "../danger.js";
import { limitsOf, readingNow, removeRow, setPath, setRow, siteOf, stampStep } from "../draft.js";
import { bloodIs, endedEarly, isIn, newPlace, noOtherPlace, reopen, swollenAgain, swollenAt } from "../flow_needle.js";
import {
  addressOf,
  asksPressure,
  begin,
  courseWords,
  DROP,
  indexAt,
  lowWords,
  measuredOf,
  moveTimes,
  nextOf,
  pressuresOf,
  setStand,
  standOf,
  stepsOf,
  stillLow,
  write,
} from "../flow_state.js";
import { momentRow, pointTo, retime } from "../moment_row.js";
import { siteName } from "../needle_sites.js";
import { withUnit } from "../numbers.js";
import { askNumber } from "../pad.js";
import { askPressure } from "../pressure.js";
import { asKept, coded, say, wordsOf } from "../ready.js";
import { remindAt } from "../reminders.js";
import { go, register, replace } from "../router.js";
import { stepTaken, stepUndone } from "../step_back.js";
import { announce, bigButton, dl, h, note } from "../ui.js";
import { capital, stopwatch, t, timeOf } from "../words.js";
import { planPanel } from "./uf_rest.js";

/** Times of readings have no seconds. */
const MINUTE = 60_000;
const FELT = ["dizzy", "sweating", "nausea", "cramp", "seeing_badly", "very_tired", "nothing"];

/** @param {Ctx} ctx */
function placeOf(ctx, address) {
  const index = indexAt(ctx.night, address);
  const event = ctx.night?.doc.events[index];
  const steps = stepsOf(ctx.kit, event?.kind);
  if (!event || !steps.length) return null;
  const stand = standOf(ctx.night, event, steps);
  return { index, event, steps, stand, step: steps.find((each) => each.key === stand.step) };
}

/** Begin the way of a kind, or go on with the one that is under way. @param {Ctx} ctx @param {Iso} [at] */
export function enter(ctx, kind, at) {
  /** @type {string[]} */
  let address = [];
  ctx.change(eventWords(ctx.kit, kind), (night) => {
    address = addressOf(begin(ctx, night, kind, at));
    pointTo(ctx, "flow", ...address);
  });
  replace("flow", ...address);
}

/* Steps -------------------------------------------------------------------------------------------- */

/**
 * One step on: stamped with what was answered, written into the event's row. fill(night, index) writes a value.
 * @param {Ctx} ctx @param {any} place
 * @param {{said?: string, then?: string, does?: string[], fill?: (night: Night, index: number) => void}} [answered]
 */
function onward(ctx, place, { said = "", then = "", does = [], fill } = {}) {
  const { index, steps, step, stand } = place;
  const now = ctx.now();
  const words = said ? `${asKept(step)}: ${said}` : asKept(step);
  ctx.change(wordsOf(ctx.kit, said) || step.words, (night) => {
    fill?.(night, index);
    write(night, index, does, now.toISOString());
    if (does.includes("ended") && !course(night, ctx.kit, now).over) endedEarly(night, place.event.kind);
    stampStep(night, step.stamp, words.slice(0, 500), now.toISOString());
    const event = night.doc.events[index];
    setStand(night, event, {
      step: nextOf(steps, step, then),
      since: now.toISOString(),
      past: [...stand.past, step.key],
    });
  });
  const address = addressOf(place.event);
  stepTaken(() => backward(ctx, placeOf(ctx, address)));
  window.scrollTo(0, 0);
  sayStep(ctx, place.event);
}

/** A step as it is heard. @param {FlowStep} step */
const heard = ({ words, hint }) => [words, hint].filter(Boolean).join(" ");

/** Say the new step to those who listen. @param {Ctx} ctx */
function sayStep(ctx, event) {
  const step = placeOf(ctx, addressOf(event))?.step;
  announce(step?.words ?? t("All steps done"));
  stepCame(step ? heard(step) : t("All steps done"));
}

/** @param {Ctx} ctx */
function backward(ctx, place) {
  if (!place?.stand.past.length) return;
  const { index, event, stand } = place;
  ctx.change(t("One step back"), (night) => {
    if (event.outcome) reopen(night, index);
    setStand(night, night.doc.events[index], { ...stand, step: stand.past.at(-1), past: stand.past.slice(0, -1) });
  });
  sayStep(ctx, event);
}

/** @param {Ctx} ctx */
function byTouch(ctx, place) {
  stepUndone();
  backward(ctx, place);
}

/** @param {Ctx} ctx */
function openCard(ctx, kind) {
  return go("danger", ctx.kit.card_of?.[kind]);
}

/** The answer of a step that only the phone can work out: which needle, how much saline. */
const FILLS = {
  at_arterial: swollenAt("arterial"),
  at_venous: swollenAt("venous"),
  swollen_again: swollenAgain,
  no_other_place: noOtherPlace,
  blood_all: bloodIs("whole"),
  blood_part: bloodIs("part"),
  blood_none: bloodIs("none"),
};

/** @param {Ctx} ctx */
function answer(ctx, place, given) {
  const { code, then, does } = given;
  if (code === "saline_was_given") return saline(ctx, place, given);
  onward(ctx, place, { said: coded(code), then, does, fill: FILLS[code] });
  if (then.startsWith("card:")) openCard(ctx, then.slice(5));
}

/** @param {Ctx} ctx */
async function saline(ctx, place, { code }) {
  const limits = limitsOf(ctx.kit, "events.saline_l");
  const litres = await askNumber({
    label: t(limits?.label ?? ""),
    limits,
  });
  if (litres === undefined) return;
  const said = litres === null ? coded(code) : `${coded(code)}, ${withUnit(litres, limits?.unit)}`;
  onward(ctx, place, { said, fill: (night, index) => setRow(night, "events", index, { saline_l: litres }) });
}

/* Blood pressure ----------------------------------------------------------------------------------- */

/** Where a pressure of this way is kept: the first in its own row, each later one in a reading. @param {Ctx} ctx */
function rowFor(ctx, place, night) {
  if (place.step.asks === "pressure") return `events[${place.index}]`;
  return night ? `readings[${readingNow(night, minuteOf(ctx.now()), "systolic")}]` : "readings";
}

/** @param {Ctx} ctx */
async function measure(ctx, place) {
  const measured = await askPressure(ctx, place.step.asks === "pressure" ? "events" : "readings");
  if (!measured) return;
  const { systolic, diastolic, said } = measured;
  onward(ctx, place, {
    said,
    fill: (night) => {
      const row = rowFor(ctx, place, night);
      setPath(night, `${row}.systolic`, systolic);
      setPath(night, `${row}.diastolic`, diastolic);
    },
  });
}

/**
 * What this step has already: of the first any that is fresh, of a later one what was measured since.
 * @param {Ctx} ctx
 */
function measuredHere(ctx, { step, event, stand }) {
  const found = measuredOf(ctx.night, event);
  if (step.asks === "pressure" || !found) return found;
  return found !== event && Date.parse(found.at) >= Date.parse(stand.since) - MINUTE ? found : null;
}

/** @param {Ctx} ctx */
function pressure(ctx, place) {
  const measured = measuredHere(ctx, place);
  const cuff = measureRow(ctx, "pressure", (night) => {
    const row = rowFor(ctx, place, night);
    return { systolic: `${row}.systolic`, diastolic: `${row}.diastolic` };
  });
  return [
    measured && pressureNote(ctx, measured),
    bigButton(measured ? t("Measure again") : t("Enter the blood pressure"), () => measure(ctx, place), {
      tone: measured ? "plain" : "go",
      data: { k: "measure" },
    }),
    cuff,
    measured
      ? null
      : bigButton(say(ctx.kit, "not_measured"), () => onward(ctx, place, { said: coded("not_measured") }), {
          data: { k: "not-measured" },
        }),
  ];
}

/** What was measured, and whether that is low. @param {Ctx} ctx */
function pressureNote(ctx, { systolic, diastolic, at }) {
  const value = `${[systolic, diastolic].filter((each) => each != null).join("/")} mmHg`;
  const words = t("Measured at {time}: {value}.", { time: timeOf(at), value });
  const low = lowWords(ctx, systolic);
  return low ? note(`${words} ${low}`, "care") : note(words);
}

/* Waiting ------------------------------------------------------------------------------------------ */

/** @param {Ctx} ctx */
function waiting(ctx, { step, stand }) {
  const until = later(stand.since, step.minutes);
  const figure = h("p", { class: "countdown", role: "timer" });
  const tick = () => {
    const left = Math.max(0, Math.ceil((Date.parse(until) - ctx.now().getTime()) / 1000));
    figure.textContent = left ? stopwatch(left) : t("Measure the pressure again now");
  };
  const timer = setInterval(() => (figure.isConnected ? tick() : clearInterval(timer)), 500);
  tick();
  return [figure, h("p", { class: "soft", text: t("Again at {time}.", { time: timeOf(until) }) })];
}

/** The reminder of a wait; it goes on while other screens are looked at. @param {Ctx} ctx */
export function armWait(ctx, event) {
  const place = placeOf(ctx, addressOf(event));
  if (place?.step?.asks !== "wait") return;
  const still = () => placeOf(ctx, addressOf(event))?.step?.asks === "wait";
  const tell = () => {
    announce(t("Measure the pressure again now"));
    stepCame(t("Measure the pressure again now"));
    ctx.redraw();
  };
  remindAt("flow", later(place.stand.since, place.step.minutes), tell, { isStillDue: still });
}

/* The screen --------------------------------------------------------------------------------------- */

const ASKED = {
  pressure,
  again: pressure,
  wait: waiting,
  plan: (ctx, place) => planPanel(ctx, place.event),
  place: newPlace,
};

/** The needle of an answer by the name of its site. @param {Ctx} ctx */
function hintOf(ctx, code) {
  const use = { at_arterial: "arterial", at_venous: "venous" }[code];
  return use && siteName(ctx.kit, siteOf(ctx.night, use)?.site);
}

/** Whoever has the new needle in is not asked whether there is a place for it. @param {Ctx} ctx */
const asksStill = (ctx, { step, event }) => (step.asks === "place" && isIn(ctx, event) ? [] : step.answers);

/** @param {Ctx} ctx */
const answers = (ctx, place) =>
  asksStill(ctx, place).map((each) =>
    bigButton(say(ctx.kit, each.code), () => answer(ctx, place, each), {
      tone: each.danger ? "danger" : "plain",
      hint: hintOf(ctx, each.code),
      data: { k: each.code },
    }),
  );

/** Both numbers on every step; red is the one that the step is about. Without any, what to do. @param {Ctx} ctx */
function calls(ctx, step) {
  const first = step?.urgent ? "emergency" : step?.key.startsWith("call") ? "on_call" : "calm";
  const buttons = callButtons(ctx.kit.unit, first);
  const none = t("The unit's numbers are not on this phone. Call your local emergency number.");
  return buttons.length ? buttons : note(none, "care");
}

/** @param {Ctx} ctx */
function felt(ctx, { index }) {
  const event = ctx.night.doc.events[index];
  const has = (code) => event.note.includes(coded(code));
  const press = (code) =>
    ctx.change(say(ctx.kit, code), (night) => {
      const row = night.doc.events[index];
      const chosen = FELT.filter((each) => (each === code ? !has(each) : has(each)));
      const rest = row.note.replace(/^⟦felt⟧: [^.]*\.\s*/u, "");
      const said = chosen.length ? `${coded("felt")}: ${chosen.map((each) => coded(each)).join(", ")}. ` : "";
      row.note = `${said}${rest}`.trim();
    });
  const chip = (code) =>
    h(
      "button",
      {
        type: "button",
        class: "choice",
        aria: { pressed: has(code) },
        data: { k: `felt/${code}` },
        on: { click: () => press(code) },
      },
      h("span", { text: say(ctx.kit, code) }),
    );
  const label = t("What is felt?");
  return h(
    "div",
    { class: "choices", role: "group", aria: { label } },
    h("p", { class: "label", text: label, aria: { hidden: "true" } }),
    h("div", { class: "options" }, FELT.map(chip)),
  );
}

/** @param {Ctx} ctx @param {any} place @param {Iso} iso */
function moveTo(ctx, { index, event }, iso) {
  ctx.change(t("Time: {time}", { time: timeOf(iso) }), (night) => {
    setRow(night, "events", index, moveTimes(event, iso));
    retime(night, "events", index, iso);
  });
}

/** Whoever says how it is now sees what was measured just before, where that is still low. @param {Ctx} ctx */
function stillLowNote(ctx, { steps, stand, event }) {
  const before = steps.find(({ key }) => key === stand.past.at(-1));
  const words = before?.asks === "again" ? stillLow(ctx, event) : "";
  return words ? note(words, "care") : null;
}

/** A step that is a call: the numbers stand before what is answered of it. @param {FlowStep} step */
const isCall = (step) => step.urgent || step.key.startsWith("call");

/** What was measured, in sight while it is said on the telephone. @param {Ctx} ctx */
function toSay(ctx, { step, steps, event }) {
  if (!isCall(step) || !asksPressure(steps)) return null;
  const rows = pressuresOf(ctx.night, event).map((row) => [
    t("Measured at {time}", { time: timeOf(row.at) }),
    `${[row.systolic, row.diastolic].filter((each) => each != null).join("/")} mmHg`,
  ]);
  return rows.length ? dl(rows) : null;
}

/** @param {string[]} words */
const sentence = (words) => `${capital(words.join(", "))}.`;

/** What was noted, to be looked over and put right. @param {Ctx} ctx */
function summary(ctx, place) {
  const { index, event } = place;
  const words = courseWords(event);
  const last = asksPressure(place.steps) && measuredOf(ctx.night, event);
  return [
    words.length ? note(sentence(words)) : null,
    last && pressureNote(ctx, last),
    event.saline_l == null ? null : dl([[t("Saline given"), withUnit(event.saline_l, "L")]]),
    event.kind === DROP ? felt(ctx, place) : null,
    textField(ctx, `events[${index}].note`, t("What happened, what was done"), {
      hint: t("Read when the unit looks through it, not now."),
    }),
    momentRow("flow", t("Began"), event.at, (iso) => moveTo(ctx, place, iso)),
    h(
      "div",
      { class: "rows" },
      ctx.night.doc.ended_at ? null : backButton(ctx, place),
      notSo(() => dropEvent(ctx, index), "take-back"),
    ),
    calls(ctx, null),
  ];
}

/** An event goes out of the record, and its screen with it. @param {Ctx} ctx */
export function dropEvent(ctx, index) {
  replace("running");
  ctx.change(t("Event removed"), (night) => {
    if (!night.doc.ended_at) reopen(night, index);
    removeRow(night, "events", index);
  });
}

/** @param {Ctx} ctx */
function draw(ctx, params) {
  if (!ctx.night) return note(t("No treatment is open."));
  const place = placeOf(ctx, params);
  if (!place) return note(t("This event is not in the record any more."));
  keepAwake(true);
  armWait(ctx, place.event);
  const { step } = place;
  if (!step) return summary(ctx, place);
  return [
    h("p", { class: "step-words", text: step.words }),
    step.hint ? h("p", { text: step.hint }) : null,
    toSay(ctx, place),
    stillLowNote(ctx, place),
    isCall(step) ? calls(ctx, step) : null,
    h("div", { class: "list" }, ASKED[step.asks]?.(ctx, place), answers(ctx, place)),
    isCall(step) ? null : calls(ctx, step),
    uncheckedLine(ctx.kit, ctx.kit.flows_checked),
    h("div", { class: "rows" }, aloudButton(ctx, heard(step)), beside(ctx, place)),
  ].filter(Boolean);
}

/** @param {Ctx} ctx */
const backButton = (ctx, place) =>
  place.stand.past.length > 0 && bigButton(t("One step back"), () => byTouch(ctx, place), { data: { k: "step-back" } });

/** Where else to go from any step; at the first also that it was none. @param {Ctx} ctx */
const beside = (ctx, place) => [
  backButton(ctx, place),
  bigButton(t("Write a note, change the time"), () => go("event", place.index), { data: { k: "note" } }),
  bigButton(t("Back to the treatment"), () => go("running"), { data: { k: "away" } }),
  !place.stand.past.length && notSo(() => dropEvent(ctx, place.index), "take-back"),
];

/** @param {Ctx} ctx */
const titleOf = (ctx, params) => {
  const place = placeOf(ctx, params);
  return place ? eventWords(ctx.kit, place.event.kind) : t("Event or symptom");
};

/** @param {Ctx} ctx */
function mainOf(ctx, place) {
  const { step, event } = place;
  if (!step)
    return event.outcome === "ended" && !ctx.night.doc.ended_at
      ? { label: t("To the end of the treatment"), go: "finish" }
      : { label: t("Back to the treatment"), go: "running" };
  if (asksStill(ctx, place).length) return null;
  if (step.asks === "wait") return { label: t("Go on now"), tap: () => onward(ctx, place), tone: "plain" };
  if (ASKED[step.asks] === pressure && !measuredHere(ctx, place)) return null;
  if (step.asks === "place" && isIn(ctx, event))
    return {
      label: say(ctx.kit, "new_needle"),
      tap: () => onward(ctx, place, { said: coded("new_needle") }),
      tone: "go",
    };
  return { label: t("Done, next"), tap: () => onward(ctx, place, { does: step.does }), tone: "go" };
}

/** @param {Ctx} ctx */
function bar(ctx, params) {
  if (!ctx.night) return [{ label: t("Tonight"), go: "tonight" }];
  const place = placeOf(ctx, params);
  if (!place) return [{ label: t("Back to the treatment"), go: "running" }];
  return [mainOf(ctx, place)].filter(Boolean);
}

register("flow", { title: titleOf, draw, bar });
