/* The steps of the run sheet: which stand, in which order, and which go together in the short form. Pure. */

import { bloodStays } from "./flow_state.js";
import { isOnHeparin } from "./heparin.js";
import { coded } from "./ready.js";

/** What is asked of a needle once it is taped. */
const QUESTIONS = new Set(["flash", "flush", "attempts"]);
/** What has a screen of its own in the short form too. */
const ALONE = new Set(["bolus", "set_machine", "pump_speed", "pain"]);
/** More on one screen would not be read (common practice). */
const MOST_TOGETHER = 6;

const OFF = "end";

/** The pump stands for the end. */
export const STOP_KEY = "off_stop";

/**
 * How a treatment ends: the steps up to the needles. Where the blood must not come back, or what became of it is said
 * already, the pump stands first and the steps that bring it back are left out.
 * @param {Kit} kit @param {Night} night @returns {SheetStep[]}
 */
export function stepsOff(kit, night) {
  const steps = (kit.run_sheet?.steps ?? []).filter((step) => step.part === OFF);
  if (!bloodStays(kit, night) && !night.doc.blood_return) return steps;
  const kept = steps.filter((step) => !kit.blood_back?.steps.includes(step.key));
  const isStop = (step) => step.key === STOP_KEY;
  return [...kept.filter(isStop), ...kept.filter((step) => !isStop(step))];
}

/** @typedef {{at: number, since: Iso | null, failed: string, restart?: string, only?: string, first?: string,
 *   single?: boolean, gap?: boolean, qb?: number}} Sheet */

/** @param {SheetStep} step */
export const isQuestion = (step) => QUESTIONS.has(step.asks);

/** Whether something against clotting is given at once at the beginning. @param {Kit} kit */
const hasBolus = (kit) => Boolean(kit.prescription?.bolus_units) && isOnHeparin(kit);

/** Consecutive steps of one use -> [{use, steps}]. @param {SheetStep[]} steps */
function runsOf(steps) {
  /** @type {{use: string, steps: SheetStep[]}[]} */
  const runs = [];
  for (const step of steps) {
    const last = runs.at(-1);
    if (last && last.use === (step.use ?? "")) last.steps.push(step);
    else runs.push({ use: step.use ?? "", steps: [step] });
  }
  return runs;
}

/** The two needles in the order that the patient wants; only where one follows the other. @param {SheetStep[]} steps */
function inOrder(steps, first) {
  const runs = runsOf(steps);
  const at = runs.findIndex((run) => run.steps.some((step) => step.asks === "needle"));
  const [one, other] = [runs[at], runs[at + 1]];
  if (!first || !one || one.use === first || !other?.steps.some((step) => step.asks === "needle")) return steps;
  return [...runs.slice(0, at), other, one, ...runs.slice(at + 2)].flatMap((run) => run.steps);
}

/**
 * The steps of a night. A bolus stands among them where one is ordered; while the treatment runs a needle is put in
 * anew, and what was set before it began is not set again.
 * @param {Kit} kit @param {Night} night @returns {SheetStep[]}
 */
export function stepsOf(kit, night) {
  const begun = night.stage !== "before";
  const steps = (kit.run_sheet?.steps ?? []).filter(
    (step) =>
      step.part !== OFF &&
      !(step.asks === "bolus" && (begun || !hasBolus(kit))) &&
      !(step.asks === "set_machine" && begun),
  );
  return inOrder(steps, night.plan.sheet?.first);
}

/** Which needle the sheet puts in first, or "". @param {SheetStep[]} steps */
export const firstUse = (steps) => steps.find((step) => step.asks === "needle")?.use ?? "";

/**
 * Where the sheet begins again for a needle: at the needle for another attempt, at the cleaning for another place.
 * @param {SheetStep[]} steps
 */
export function restartOf(steps, use, fresh) {
  const needle = steps.findIndex((step) => step.use === use && step.asks === "needle");
  const first = steps.findIndex((step) => step.use === use || (step.countdown_s && !step.use));
  if (fresh) return Math.max(0, steps[first]?.countdown_s ? first - 1 : first);
  return needle >= 0 ? needle : steps.findIndex((step) => step.use === use);
}

/** The next step; while one needle alone is put in anew, not those of the other. @param {SheetStep[]} steps */
export function nextAfter(steps, at, only = "") {
  let next = at;
  while (only && next < steps.length && steps[next].use && steps[next].use !== only) next += 1;
  return next;
}

/**
 * The steps that nobody did, or that were gone past without their answer; of one needle where only that is put in.
 * @param {SheetStep[]} steps @param {Pick<Night, "doc">} night
 */
export const gapsOf = (steps, { doc }, only = "") =>
  steps.filter((step) => {
    if (only && step.use !== only) return false;
    const last = doc.steps.findLast((row) => row.key === step.key);
    return !last || last.words.includes(coded("no_answer"));
  });

/** @param {SheetStep[]} group @param {SheetStep} step */
function joins(group, step) {
  const last = group[group.length - 1];
  if (step.countdown_s || group.length >= MOST_TOGETHER) return false;
  if (ALONE.has(step.asks) || ALONE.has(last.asks) || isQuestion(step) !== isQuestion(last)) return false;
  const alike = group.every((each) => each.use === step.use);
  if (step.asks === "needle") return alike && !group.some((each) => each.countdown_s);
  return alike || (!isQuestion(step) && !group.some((each) => each.asks === "needle"));
}

/** What stands on one screen of the short form, from a step on. @param {SheetStep[]} steps @param {number} at */
export function together(steps, at) {
  /** @type {SheetStep[]} */
  let group = [];
  for (const [index, step] of steps.entries()) {
    if (group.length && joins(group, step)) group.push(step);
    else if (index > at) break;
    else group = [step];
  }
  const from = steps.indexOf(group[0]);
  return group.slice(Math.max(0, at - from));
}
