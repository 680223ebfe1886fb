/*
 * Water, supplies and machine: what was tested, counted or done, due or not. A sheet half filled in is kept like a
 * night.
 */

import { noteSurroundings } from "../acknowledging.js";
import { withUnit } from "../numbers.js";
import { drop } from "../outbox.js";
import { askNumber } from "../pad.js";
import { register, replace } from "../router.js";
import { bigButton, choiceRow, h, note, toast } from "../ui.js";
import * as vault from "../vault.js";
import { dayOf, t, tn } from "../words.js";

const DAY = 86_400_000;
const options = (pairs) => pairs.map(([value, label]) => ({ value, label }));
/** The tests of water that the unit declares: [kind, its name]. @param {Kit} kit */
const testsOf = (kit) =>
  Object.entries(kit.limits)
    .filter(([path]) => path.startsWith("water."))
    .map(([path, { label }]) => [path.slice("water.".length), label]);
const TASKS = () => [
  ["disinfection", t("Disinfection of the machine")],
  ["filter_change", t("Filter change")],
  ["service", t("Service of the machine")],
  ["carbon_change", t("Carbon change")],
  ["water_service", t("Service of the water treatment")],
];
/** @param {Ctx} ctx */
const limitsOf = (ctx, kind) => ctx.kit.limits[`water.${kind}`];
/** @param {Ctx} ctx */
const labelOf = (ctx, kind) => limitsOf(ctx, kind)?.label;
/** @param {Ctx} ctx */
const blank = (ctx) => ({
  id: "surroundings",
  patient: ctx.kit.patient.id,
  kind: null,
  value: null,
  below: false,
  days: 0,
  counts: {},
});
/** @type {any} */
let sheet = null;
let telling = false;

/** The sheet of this patient -> it, or null while it is being read from the phone. @param {Ctx} ctx */
function sheetOf(ctx) {
  if (sheet?.patient === ctx.kit.patient.id) return sheet;
  vault.get("meta", "surroundings").then((kept) => {
    sheet = kept?.patient === ctx.kit.patient.id ? kept : blank(ctx);
    ctx.redraw();
  });
  return null;
}

/** @param {Ctx} ctx */
function change(ctx, words, changes) {
  const before = sheet;
  const keep = (next) => {
    sheet = next;
    vault.put("meta", next);
    ctx.redraw();
  };
  keep({ ...sheet, ...changes });
  toast(words, () => keep(before));
}

/**
 * Tell the unit, once however often it is touched. The sheet is emptied when it lies among what is to be sent, never
 * before. As long as the phone has no network it can be undone, and the sheet is as it was.
 * @param {Ctx} ctx
 */
async function tell(ctx, form, body, words, emptied = {}) {
  if (telling) return;
  telling = true;
  const before = sheet;
  const due = ctx.kit.due?.filter((item) => item.form === form && (form === "count" || item.id === body.kind)) ?? [];
  try {
    const id = await noteSurroundings(ctx, form, body, words, due);
    sheet = { ...sheet, ...emptied };
    await vault.put("meta", sheet);
    replace("surroundings");
    toast(words, ctx.online() ? undefined : () => takeBack(ctx, id, due, before));
  } finally {
    telling = false;
  }
}

/** @param {Ctx} ctx */
async function takeBack(ctx, id, due, before) {
  for (const item of due) delete item.noted;
  sheet = before;
  await Promise.all([drop(id), vault.put("kit", ctx.kit), vault.put("meta", sheet)]);
  ctx.redraw();
}

const field = (name, label, hint, shown, open) =>
  h(
    "button",
    { type: "button", class: "field", data: { k: name }, on: { click: open } },
    h("span", { class: "label" }, label, hint && h("small", { text: hint })),
    shown === null ? h("span", { class: "unset", text: t("not yet") }) : h("b", { text: shown }),
  );

/** @param {Ctx} ctx @param {Limits} limits */
async function ask(ctx, limits, value, words, changes) {
  const answer = await askNumber({ label: t(limits.label), limits, value });
  if (answer !== undefined && answer !== value)
    change(
      ctx,
      t("{field}: {value}", { field: words, value: answer === null ? t("not yet") : withUnit(answer, limits.unit) }),
      changes(answer),
    );
}

/** @param {Ctx} ctx */
function waterForm(ctx) {
  const { kind, value, below, days } = sheet;
  const limits = kind && limitsOf(ctx, kind);
  const taken = new Date(ctx.now().getTime() - days * DAY).toISOString();
  /** @type {Limits} */
  const since = { label: t("Days since the sample was taken"), unit: "", hard: [0, 60], usual: [0, 21], step: 1 };
  return [
    choiceRow(t("Test"), options(testsOf(ctx.kit)), kind, (each) =>
      change(ctx, labelOf(ctx, each), { kind: each, value: each === kind ? value : null }),
    ),
    kind === "total_chlorine" &&
      note(t("Do not connect while it is over the limit that your unit gave you: call the unit."), "care"),
    kind &&
      field("value", t("Result"), null, value === null ? null : withUnit(value, limits.unit), () =>
        ask(ctx, limits, value, labelOf(ctx, kind), (answer) => ({ value: answer })),
      ),
    kind &&
      choiceRow(
        t("The result is"),
        options([
          [false, t("as it stands")],
          [true, t("less than that: nothing detected")],
        ]),
        below,
        (each) => change(ctx, t("Result"), { below: each }),
      ),
    kind &&
      field(
        "days",
        t("Sample taken"),
        null,
        days ? `${tn("{n} day ago", "{n} days ago", days)}, ${dayOf(taken)}` : t("today"),
        () => ask(ctx, since, days, t("Sample taken"), (answer) => ({ days: Math.round(answer ?? 0) })),
      ),
  ];
}

/** @param {Ctx} ctx */
function sendWater(ctx) {
  const { kind, value, below, days } = sheet;
  if (value === null) return toast(t("Enter the result first."));
  const body = {
    id: crypto.randomUUID(),
    kind,
    value,
    below_detection: below,
    sampled_at: new Date(ctx.now().getTime() - days * DAY).toISOString(),
  };
  return tell(ctx, "water", body, t("{what}: result noted", { what: labelOf(ctx, kind) }), {
    kind: null,
    value: null,
    below: false,
    days: 0,
    asked: null,
  });
}

/** @param {Ctx} ctx */
function countForm(ctx) {
  const rows = ctx.kit.stock ?? [];
  if (!rows.length) return note(t("The unit has put nothing on its supply list."));
  const limits = (each) => ({ ...ctx.kit.limits["supplies.count"], label: each.name, unit: each.unit });
  const shown = (each) => (sheet.counts[each.id] == null ? null : withUnit(sheet.counts[each.id], each.unit));
  const reckoned = (each) =>
    each.have == null ? null : t("There should be {value}", { value: withUnit(each.have, each.unit) });
  return [
    h("p", { text: t("Count what is there. What you leave out was not counted.") }),
    rows.map((each) =>
      field(`item-${each.id}`, each.name, reckoned(each), shown(each), () =>
        ask(ctx, limits(each), sheet.counts[each.id] ?? null, each.name, (count) => ({
          counts: { ...sheet.counts, [each.id]: count === null ? null : Math.round(count) },
        })),
      ),
    ),
  ];
}

/** @param {Ctx} ctx */
function sendCount(ctx) {
  const known = (ctx.kit.stock ?? []).filter((each) => sheet.counts[each.id] != null);
  if (!known.length) return toast(t("Count something first."));
  const counts = known.map((each) => ({ id: crypto.randomUUID(), item: each.id, count: sheet.counts[each.id] }));
  return tell(ctx, "count", { counted_at: ctx.now().toISOString(), counts }, t("Supplies counted"), { counts: {} });
}

/** @param {Ctx} ctx @param {string[]} kindAndLabel */
const task = (ctx, [kind, label]) =>
  bigButton(
    label,
    () =>
      tell(
        ctx,
        "done",
        { id: crypto.randomUUID(), kind, done_at: ctx.now().toISOString() },
        t("{what}: done", { what: label }),
      ),
    { data: { k: kind } },
  );

/** @param {Ctx} ctx */
const list = (ctx) => [
  h(
    "div",
    { class: "rows" },
    bigButton(t("Note a water test"), () => ctx.go("surroundings", "water"), { data: { k: "water" } }),
    bigButton(t("Count supplies"), () => ctx.go("surroundings", "count"), { data: { k: "count" } }),
    bigButton(t("What is due"), () => ctx.go("due"), { data: { k: "due" } }),
  ),
  h("h2", { text: t("Done just now") }),
  h(
    "div",
    { class: "list" },
    TASKS().map((each) => task(ctx, each)),
  ),
];

const FORMS = {
  water: [() => t("Water test"), waterForm, sendWater, () => t("Note the result")],
  count: [() => t("Supply count"), countForm, sendCount, () => t("Note the count")],
};

/** A link may name the test: surroundings/water/bacteria. @param {Ctx} ctx */
function draw(ctx, [form, kind]) {
  if (!sheetOf(ctx)) return [];
  if (form === "water" && labelOf(ctx, kind) && sheet.kind !== kind && sheet.asked !== kind)
    sheet = { ...sheet, kind, value: null, asked: kind };
  return (FORMS[form]?.[1] ?? list)(ctx);
}

register("surroundings", {
  toUnit: true,
  title: (_ctx, [form]) => FORMS[form]?.[0]() ?? t("Water, supplies and machine"),
  draw,
  bar: (ctx, [form]) => [
    ...(FORMS[form] ? [{ label: FORMS[form][3](), tone: "go", tap: () => sheet && FORMS[form][2](ctx) }] : []),
    { label: t("Back"), go: form ? "surroundings" : "tonight" },
  ],
});
