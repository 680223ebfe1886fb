/*
 * The unit's own checks, one at a time: the answer lies in the same place under the thumb for each. `#/checks` goes to
 * the first one without an answer, `#/checks/after` to those after the treatment, `#/checks/setup/<key>` to one of
 * them. One that failed holds the flow: it is put right, or overruled with a reason, never passed over. A stop is not
 * overruled either: only passing it lifts it.
 */

import { callButtons } from "../calls.js";
import { uncheckedLine } from "../cards.js";
import { checkOf, holds, inside, isDisinfection, putRight, standing } from "../check_rows.js";
import { answerCheck, overruleCheck, setFields } from "../draft.js";
import { pointTo } from "../moment_row.js";
import { shown, withUnit } from "../numbers.js";
import { layOver } from "../over.js";
import { askNumber } from "../pad.js";
import { coded, say, typed, wordsOf } from "../ready.js";
import { register } from "../router.js";
import { inShort, onceSeen, shortRow } from "../short.js";
import { stepTaken } from "../step_back.js";
import { announce, bigButton, h, note } from "../ui.js";
import { fmt, t, tn } from "../words.js";

const NEXT = { setup: "weigh", access: "access", after: "finish" };
/** @type {string | null} */
let reasoning = null; // the key of the check for which a reason is being given
let begunReason = { key: "", text: "" }; // what was typed of one and not used yet
let lift = () => {};

/** @param {Ctx} ctx @param {string | null} key */
function giveReason(ctx, key) {
  lift();
  reasoning = key;
  if (key)
    lift = layOver(() => {
      reasoning = null;
      ctx.redraw();
    });
  ctx.redraw();
}

/** @param {Ctx} ctx */
const itemsOf = (ctx, part) => (ctx.kit.checklist?.items ?? []).filter((item) => item.part === part);
/** @param {Ctx} ctx */
const rowOf = (ctx, item) => standing(ctx.night.doc.checks, item.key);

/** Checks of a part that hold the flow: failed and not overruled, or without an answer. @param {Ctx} ctx */
export const openChecks = (ctx, part) =>
  itemsOf(ctx, part).filter((item) => !rowOf(ctx, item) || holds(rowOf(ctx, item), item));

/** "at most 0.1 mg/L", "13.5 to 14.5 mS/cm", or "". @param {CheckItem} item */
export function limitWords({ limit_low: low, limit_high: high, unit }) {
  const end = unit ? ` ${unit}` : "";
  if (low != null && high != null) return t("{low} to {high}", { low: fmt(low), high: fmt(high) }) + end;
  if (high != null) return t("at most {high}", { high: fmt(high) }) + end;
  return low == null ? "" : t("at least {low}", { low: fmt(low) }) + end;
}

/** What a check says of the night besides: it is asked once. @param {CheckItem[]} items */
const alsoSaid = (items, passed) => (items.some(isDisinfection) ? { disinfected: passed } : {});

/** @param {Ctx} ctx */
function write(ctx, item, answer) {
  const words = answer.passed ? t("{check}: good", { check: item.name }) : t("{check}: not good", { check: item.name });
  const put = (night) => {
    answerCheck(night, item, checkOf(item, { at: ctx.now().toISOString(), ...answer }));
    setFields(night, { checklist_version: ctx.kit.checklist.version, ...alsoSaid([item], answer.passed) });
  };
  ctx.change(words, put, item.stop && !answer.passed);
}

/** A check was answered: the next one comes, unless this one holds. @param {Ctx} ctx */
function answer(ctx, item, given) {
  write(ctx, item, given);
  if (given.passed) onward(ctx, item);
}

/**
 * In the short form what comes after the last check follows by itself, unless one holds or was not good at first.
 * @param {Ctx} ctx
 */
function wentOn(ctx, part) {
  const items = itemsOf(ctx, part);
  if (!inShort(ctx) || openChecks(ctx, part).length || earlier(ctx, items).length) return false;
  ctx.go(NEXT[part]);
  return true;
}

/** @param {Ctx} ctx */
function onward(ctx, item) {
  if (wentOn(ctx, item.part)) return;
  const items = itemsOf(ctx, item.part);
  const next = items.slice(items.indexOf(item) + 1).find((each) => !rowOf(ctx, each)) ?? openChecks(ctx, item.part)[0];
  turnTo(ctx, item.part, next?.key ?? "all");
  stepTaken(() => turnTo(ctx, item.part, item.key));
  announce([next?.name ?? t("All checks are answered."), next && limitWords(next)].filter(Boolean).join(", "));
}

/** Another check comes to the same place, and the way back stays in sight. @param {Ctx} ctx */
function turnTo(ctx, part, key) {
  pointTo(ctx, "checks", part, key);
  ctx.redraw();
  window.scrollTo(0, 0);
}

/* In short ------------------------------------------------------------------------------------------ */

/**
 * What is looked at and not measured, without an answer yet: what one touch may answer, each named.
 * @param {Ctx} ctx
 */
const unremarkable = (ctx, part) => itemsOf(ctx, part).filter((item) => !item.asks_value && !rowOf(ctx, item));

/** Whether this screen is the one on which they stand together. @param {Ctx} ctx */
const standTogether = (ctx, part, asked) => !asked && inShort(ctx) && unremarkable(ctx, part).length > 1;

/** @param {Ctx} ctx */
function allGood(ctx, part) {
  const items = unremarkable(ctx, part);
  const at = ctx.now().toISOString();
  ctx.change(tn("{n} check: good", "{n} checks: good", items.length), (night) => {
    for (const item of items) answerCheck(night, item, checkOf(item, { at, passed: true }));
    setFields(night, { checklist_version: ctx.kit.checklist.version, ...alsoSaid(items, true) });
  });
  if (!wentOn(ctx, part)) turnTo(ctx, part, openChecks(ctx, part)[0]?.key ?? "all");
}

/** @param {Ctx} ctx */
function inShortScreen(ctx, part) {
  const row = (item) =>
    h(
      "li",
      null,
      h(
        "button",
        { type: "button", class: "field", data: { k: item.key }, on: { click: () => turnTo(ctx, part, item.key) } },
        h("span", { class: "label", text: item.name }),
      ),
    );
  return [
    h("p", { text: t("Look at each. Touch one that is not good, or not done.") }),
    h("ol", { class: "checklist short" }, unremarkable(ctx, part).map(row)),
    shortRow(ctx),
  ];
}

/** Readings to touch: five between the limits, or up to the limit; anything else is typed. @param {CheckItem} item */
function usualReadings({ limit_low: low, limit_high: high }) {
  if (high == null) return [];
  const [from, parts] = low == null ? [0, [0, 0.25, 0.5, 1]] : [low, [0.25, 0.375, 0.5, 0.625, 0.75]];
  return [...new Set(parts.map((part) => Number(shown(from + part * (high - from), 2))))];
}

/** @param {Ctx} ctx */
function readings(ctx, item) {
  const row = rowOf(ctx, item);
  if (!item.asks_value || (row && !holds(row, item))) return null;
  const pick = (value) => () => answer(ctx, item, { passed: inside(item, value), value });
  const key = (value) =>
    h(
      "button",
      { type: "button", class: "choice", data: { k: `reading-${value}` }, on: { click: pick(value) } },
      withUnit(value, item.unit),
    );
  const values = usualReadings(item);
  return values.length
    ? [
        h("p", { class: "soft", text: t("Touch what you read, or enter it.") }),
        h("div", { class: "readings", role: "group", aria: { label: item.name } }, values.map(key)),
      ]
    : null;
}

/** @param {Ctx} ctx */
async function measure(ctx, item) {
  const range = ctx.kit.limits["checks.value"];
  const limits = {
    ...range,
    label: item.name,
    unit: item.unit ?? "",
    usual: range?.hard ?? [0, 10000],
    hard: range?.hard ?? [0, 10000],
    step: 0.01,
  };
  const value = await askNumber({ label: item.name, limits, value: rowOf(ctx, item)?.value ?? null });
  if (typeof value === "number") answer(ctx, item, { passed: inside(item, value), value });
}

/** @param {Ctx} ctx */
function overrule(ctx, item, reason) {
  lift();
  reasoning = null;
  begunReason = { key: "", text: "" };
  ctx.change(t("{check}: overruled", { check: item.name }), (night) => overruleCheck(night, item.key, reason));
  onward(ctx, item);
}

const READY_REASONS = ["unit_said_so", "checked_again", "not_tonight"];

/** @param {Ctx} ctx */
const reasons = (ctx, item) =>
  reasonFor(ctx, item.key, READY_REASONS, {
    take: (reason) => overrule(ctx, item, reason),
    leave: () => giveReason(ctx, null),
  });

/**
 * The reason: one touch for a usual one, or own words. Without one nothing is passed over.
 * @param {Ctx} ctx @param {string} key what it is about @param {string[]} codes
 * @param {{take: (reason: string) => void, leave: () => void}} acts
 */
export function reasonFor(ctx, key, codes, { take, leave }) {
  const area = h("textarea", { id: "reason", rows: 3, maxlength: 2000 });
  if (begunReason.key === key) area.value = begunReason.text;
  const written = () => typed(area.value).trim();
  const use = bigButton(
    t("Go on with this reason"),
    () => {
      if (written()) take(written());
    },
    { disabled: !written(), data: { k: "own-reason" } },
  );
  area.addEventListener("input", () => {
    begunReason = { key, text: area.value };
    use.disabled = !written();
  });
  return [
    h("h2", { text: t("Why do you go on?") }),
    h("p", { class: "soft", text: t("The unit reads this reason when it looks through the record, not now.") }),
    ...codes.map((code) => bigButton(say(ctx.kit, code), () => take(coded(code)), { data: { k: code } })),
    h("label", { for: "reason", text: t("In your own words") }),
    area,
    use,
    bigButton(t("Leave it"), leave, { data: { k: "leave-reason" } }),
  ];
}

/** @param {Ctx} ctx */
function failed(ctx, item, row) {
  const shown = row.value == null ? "" : ` ${t("Reading: {value}.", { value: withUnit(row.value, row.unit) })}`;
  const words = item.if_failed || t("Do not go on. Call the unit and say what you found.");
  return [
    note(t("{check} is not good.", { check: item.name }) + shown, "stop", h("p", { class: "as-written", text: words })),
    ...callButtons(ctx.kit.unit, "on_call"),
    item.stop &&
      h("p", { text: t("Nothing else lifts this: it has to be tested again and be good. Both results stay written.") }),
    ...(item.stop
      ? []
      : reasoning === item.key
        ? reasons(ctx, item)
        : [
            bigButton(t("Go on all the same"), () => giveReason(ctx, item.key), {
              hint: t("Only with a reason"),
              data: { k: "overrule" },
            }),
          ]),
  ];
}

/** @param {Ctx} ctx */
function stateOf(ctx, item) {
  const row = rowOf(ctx, item);
  if (!row) return ["open", t("not yet")];
  const value = row.value == null ? "" : ` ${withUnit(row.value, row.unit)}`;
  if (row.passed) return ["good", t("good") + value];
  return row.overruled && !item.stop ? ["care", t("overruled") + value] : ["stop", t("not good") + value];
}

/** @param {Ctx} ctx */
function listed(ctx, items) {
  return h(
    "ol",
    { class: "checklist" },
    items.map((item) => {
      const [tone, words] = stateOf(ctx, item);
      return h(
        "li",
        null,
        h(
          "button",
          {
            type: "button",
            class: `field ${tone}`,
            data: { k: item.key },
            on: { click: () => turnTo(ctx, item.part, item.key) },
          },
          h("span", { class: "label", text: item.name }),
          h("b", { text: words }),
        ),
      );
    }),
  );
}

/** @param {Ctx} ctx */
function place(ctx, params) {
  const part = NEXT[params[0]] ? params[0] : "setup";
  const items = itemsOf(ctx, part);
  const [first] = openChecks(ctx, part);
  const item = params[1] === "all" ? null : (items.find((each) => each.key === params[1]) ?? first);
  return { part, items, item };
}

/** What was not good at first, told beside what is good now. @param {Ctx} ctx @param {CheckItem[]} items */
const earlier = (ctx, items) =>
  putRight(ctx.night.doc.checks)
    .filter((row) => items.some((item) => item.key === row.key))
    .map((row) => {
      const value = row.value == null ? "" : ` (${withUnit(row.value, row.unit)})`;
      const name = items.find((item) => item.key === row.key)?.name;
      return note(t("Not good at first: {check}. It stays in the record.", { check: name + value }), "care");
    });

/** @param {Ctx} ctx */
function one(ctx, item, items) {
  const row = rowOf(ctx, item);
  const count = t("Check {n} of {all}", { n: items.indexOf(item) + 1, all: items.length });
  const limit = limitWords(item);
  return [
    h("p", { class: "soft", text: count }),
    h("p", { class: "step-words", text: item.name }),
    item.hint && h("p", { text: item.hint }),
    limit && h("p", { class: "check-limit" }, h("strong", { text: t("Limit: {limit}", { limit }) })),
    holds(row, item) && failed(ctx, item, row),
    readings(ctx, item),
    row?.passed && note(stateOf(ctx, item)[1], "good"),
    earlier(ctx, [item]),
    row?.overruled && !item.stop && note(t("Overruled: {reason}", { reason: wordsOf(ctx.kit, row.reason) }), "care"),
    uncheckedLine(ctx.kit, ctx.kit.checklist?.checked),
    h("details", null, h("summary", { text: t("All checks") }), listed(ctx, items)),
  ];
}

/** @param {Ctx} ctx */
function draw(ctx, params) {
  if (!ctx.night) return note(t("No treatment is open."));
  const { part, items, item } = place(ctx, params);
  if (!items.length) return note(t("The unit asks for no checks here."));
  if (standTogether(ctx, part, params[1])) return inShortScreen(ctx, part);
  if (item) return one(ctx, item, items);
  const left = openChecks(ctx, part).length;
  return [
    left
      ? note(tn("{n} check holds the treatment.", "{n} checks hold the treatment.", left), "stop")
      : answered(ctx, items),
    earlier(ctx, items),
    listed(ctx, items),
    uncheckedLine(ctx.kit, ctx.kit.checklist?.checked),
    shortRow(ctx),
  ];
}

/** What was answered, and what nobody has looked at; not in green where one was passed over. @param {Ctx} ctx */
function answered(ctx, items) {
  const over = items.filter((item) => rowOf(ctx, item)?.overruled && !rowOf(ctx, item)?.passed).length;
  return over
    ? note(
        tn(
          "All checks are answered, {n} of them passed over.",
          "All checks are answered, {n} of them passed over.",
          over,
        ),
        "care",
      )
    : note(t("All checks are answered, as you saw them. Nobody else has looked."), "good");
}

function title(_ctx, params) {
  return { after: t("Checks after"), access: t("Checks of the access") }[params[0]] ?? t("Checks before");
}

/** @param {Ctx} ctx */
function barOf(ctx, item) {
  const row = rowOf(ctx, item);
  const isNew = !row || holds(row, item);
  if (item.asks_value) {
    return [
      { label: isNew && row ? t("Measure again") : t("Enter the reading"), tap: () => measure(ctx, item) },
      !row && { label: t("Cannot be measured"), tap: () => answer(ctx, item, { passed: false }) },
      row && !holds(row, item) && { label: t("Next"), tap: () => onward(ctx, item) },
    ];
  }
  if (row && !isNew)
    return [
      { label: t("Next"), tap: () => onward(ctx, item) },
      row.passed && { label: t("Not good after all"), tap: () => answer(ctx, item, { passed: false }) },
    ];
  return [
    {
      label: row ? (item.stop ? t("Tested again: good") : t("Good now")) : t("Good"),
      tap: () => answer(ctx, item, { passed: true }),
    },
    !row && { label: t("Not good, or not done"), tap: () => answer(ctx, item, { passed: false }) },
  ];
}

/** @param {Ctx} ctx */
function bar(ctx, params) {
  if (!ctx.night) return [{ label: t("Tonight"), go: "tonight" }];
  const { part, items, item } = place(ctx, params);
  if (standTogether(ctx, part, params[1])) {
    const count = unremarkable(ctx, part).length;
    const label = tn("{n} of these is good", "All {n} of these are good", count);
    return [{ label, tap: onceSeen(() => allGood(ctx, part)) }];
  }
  if (item) return barOf(ctx, item);
  const first = openChecks(ctx, part)[0];
  if (first && items.length) return [{ label: t("To the check that holds"), tap: () => turnTo(ctx, part, first.key) }];
  return [{ label: part === "setup" ? t("Next: weigh") : t("Go on"), go: NEXT[part] }];
}

register("checks", { title, draw, bar });
