/*
 * Medicines during the treatment: heparin bolus and rate with what is prescribed in sight, and anything else by name.
 */

import { textField } from "../ask.js";
import { keepAwake } from "../awake.js";
import { minuteOf } from "../course.js";
import { addRow, limitsOf, removeRow, writeNumber } from "../draft.js";
import { doseLimits, givenOf, heparin, putMedicine } from "../heparin.js";
import { momentRow, pointTo, retime } from "../moment_row.js";
import { withUnit } from "../numbers.js";
import { typed as asTyped, coded, wordsOf } from "../ready.js";
import { register, replace } from "../router.js";
import { bigButton, h, note } from "../ui.js";
import { valueRow } from "../value_row.js";
import { t, timeOf } from "../words.js";

const HEPARIN = coded("heparin");

/** @param {Kit} kit */
export const nameWords = (kit, name) => (name === HEPARIN ? t("Heparin bolus") : wordsOf(kit, name));
/** @param {Kit} kit */
const dosed = (kit, amount, unit) => withUnit(amount, wordsOf(kit, unit));
/** @param {Kit} kit */
const rowWords = (kit, row) =>
  [nameWords(kit, row.name), row.amount != null && dosed(kit, row.amount, row.unit)].filter(Boolean).join(": ");

/** @param {Ctx} ctx */
function give(ctx, kind, amount, asked) {
  const words = t("{label}: {value}", { label: kind.label, value: dosed(ctx.kit, amount, kind.unit) });
  ctx.change(words, (night) => putMedicine(ctx, night, kind, amount, asked));
}

/** @param {Ctx} ctx */
function dose(ctx, kind) {
  const given = givenOf(ctx.night, kind);
  const limits = doseLimits(ctx.kit, kind);
  const said = [
    kind.prescribed == null
      ? t("none prescribed")
      : t("prescribed {value}", { value: dosed(ctx.kit, kind.prescribed, kind.unit) }),
    given && t("given {value} at {time}", { value: dosed(ctx.kit, given.amount, given.unit), time: timeOf(given.at) }),
  ];
  const write = (value, asked) => {
    if (value != null) give(ctx, kind, value, asked);
  };
  const shown = {
    name: kind.name,
    label: kind.label,
    limits,
    value: null,
    last: given ? null : (kind.prescribed ?? null),
    lastWords: said.filter(Boolean).join(" · "),
  };
  return valueRow({ ...shown, confirmed: false, write, confirm: () => {} });
}

/** Another medicine: the name by the system's keyboard, kept while it is being written. @param {Ctx} ctx */
function other(ctx) {
  const typed = ctx.night.plan.medicine ?? { name: "", unit: "mg" };
  const keep =
    (name) =>
    ({ target }) => {
      ctx.night.plan.medicine = { ...typed, ...ctx.night.plan.medicine, [name]: asTyped(target.value) };
      ctx.save();
    };
  const field = (name, label, maxlength) => {
    const entry = h("input", {
      type: "text",
      maxlength,
      value: typed[name],
      data: { k: `other-${name}` },
      on: { input: keep(name) },
    });
    return h("label", { class: "words" }, h("span", { class: "label", text: label }), entry);
  };
  const add = () => {
    const { name, unit } = ctx.night.plan.medicine ?? typed;
    if (!name.trim()) return problem.replaceChildren(t("Write the name of the medicine first."));
    return ctx.change(name.trim(), (night) => {
      night.plan.medicine = { name: "", unit };
      pointTo(
        ctx,
        "medicine",
        addRow(night, "medicines", {
          name: name.trim(),
          amount: null,
          unit: unit.trim(),
          note: "",
          at: minuteOf(ctx.now()),
        }),
      );
    });
  };
  const problem = h("p", { class: "problem", role: "alert" });
  return h(
    "details",
    { class: "other" },
    h("summary", { text: t("Another medicine") }),
    field("name", t("Name"), 80),
    field("unit", t("Unit"), 20),
    problem,
    bigButton(t("Note it"), add, { data: { k: "add-medicine" } }),
  );
}

/** @param {Ctx} ctx */
function one(ctx, index) {
  const row = ctx.night.doc.medicines[index];
  const path = `medicines[${index}].amount`;
  const limits = {
    ...limitsOf(ctx.kit, "medicines.amount"),
    label: nameWords(ctx.kit, row.name),
    unit: wordsOf(ctx.kit, row.unit),
  };
  const write = (value, asked) =>
    ctx.change(t("Amount changed"), (night) => writeNumber(night, path, value, limits, asked));
  return [
    valueRow({
      name: path,
      label: nameWords(ctx.kit, row.name),
      limits,
      value: row.amount,
      last: null,
      confirmed: ctx.night.doc.confirmed.includes(path),
      write,
      confirm: () => {},
    }),
    momentRow("medicine", t("Time"), row.at, (iso) =>
      ctx.change(t("Time changed"), (night) => pointTo(ctx, "medicine", retime(night, "medicines", index, iso))),
    ),
    textField(ctx, `medicines[${index}].note`, t("Note")),
  ];
}

/** @param {Ctx} ctx */
const indexOf = (ctx, [given]) => (given != null && ctx.night.doc.medicines[Number(given)] ? Number(given) : null);

/** @param {Ctx} ctx */
function draw(ctx, params) {
  if (!ctx.night) return note(t("No treatment is open."));
  keepAwake(true);
  const index = indexOf(ctx, params);
  if (index != null) return one(ctx, index);
  const { prescription } = ctx.kit;
  const without = prescription && ["none", "other"].includes(prescription.anticoagulant);
  const given = ctx.night.doc.medicines.map((row, at) =>
    bigButton(rowWords(ctx.kit, row), () => ctx.go("medicine", at), {
      hint: t("{time} · touch to change", { time: timeOf(row.at) }),
      data: { k: `medicine-${at}` },
    }),
  );
  return [
    without
      ? note(
          prescription.anticoagulant === "none"
            ? t("No anticoagulant is prescribed.")
            : t("See the note of the prescription for what is given against clotting."),
        )
      : null,
    h("div", { class: "values" }, without ? [] : heparin(ctx.kit).map((kind) => dose(ctx, kind))),
    given.length ? h("h2", { text: t("Given tonight") }) : null,
    ...given,
    other(ctx),
  ].filter(Boolean);
}

/** @param {Ctx} ctx */
function drop(ctx, index) {
  replace("medicine");
  ctx.change(t("Medicine removed"), (night) => removeRow(night, "medicines", index));
}

/** @param {Ctx} ctx */
function bar(ctx, params) {
  if (!ctx.night) return [{ label: t("Tonight"), go: "tonight" }];
  const index = indexOf(ctx, params);
  if (index == null)
    return [{ label: t("Back to the treatment"), go: ctx.night.doc.started_at ? "running" : "tonight", tone: "plain" }];
  return [
    { label: t("Done"), go: "medicine" },
    { label: t("Remove this medicine"), tap: () => drop(ctx, index) },
  ];
}

register("medicine", { title: () => t("Medicine"), draw, bar });
