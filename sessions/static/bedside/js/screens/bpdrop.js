/* A drop of blood pressure as a short guided note: what is felt, the pressure, what was done, better or not. */

import { keepAwake } from "../awake.js";
import { measureRow } from "../bluetooth/measure.js";
import { minuteOf } from "../course.js";
import { addEvent, askedAt, removeRow } from "../draft.js";
import { momentRow, pointTo, retime } from "../moment_row.js";
import { coded, say } from "../ready.js";
import { go, register, replace } from "../router.js";
import { bigButton, h, note } from "../ui.js";
import { fieldRow } from "../value_row.js";
import { t, timeOf } from "../words.js";

const NOT_BETTER = "no";
/** The questions, each with the codes of its answers. */
const PARTS = {
  felt: {
    label: () => t("What is felt?"),
    options: ["dizzy", "sweating", "nausea", "cramp", "seeing_badly", "very_tired", "nothing"],
  },
  done: {
    label: () => t("What was done?"),
    options: ["uf_off", "head_low", "saline_given", "pump_slower", "treatment_ended"],
  },
  better: { label: () => t("Better?"), options: ["yes", "a_little", NOT_BETTER], one: true },
};

/** Answers in codes for the record, read as "Felt: dizzy. Done: UF off. Better: yes.". */
const sentence = (answers) =>
  Object.keys(PARTS)
    .filter((name) => answers[name]?.length)
    .map((name) => `${coded(name)}: ${answers[name].map((each) => coded(each)).join(", ")}.`)
    .join(" ");

/** @param {Ctx} ctx */
const indexOf = (ctx, [given]) =>
  ctx.night.doc.events[Number(given)]?.kind === "hypotension" && given != null ? Number(given) : null;

/**
 * The event, begun by the first answer; its answers are kept beside it under its time.
 * @param {Ctx} ctx @param {Night} night
 */
function begun(ctx, night, index) {
  const at = index ?? addEvent(night, { kind: "hypotension", at: minuteOf(ctx.now()) });
  if (index == null) pointTo(ctx, "bpdrop", at);
  return at;
}

/** @param {Night} night */
const answersOf = (night, index) => (index == null ? {} : (night.plan.drops?.[night.doc.events[index].at] ?? {}));

/** @param {Ctx} ctx */
function press(ctx, index, name, option) {
  ctx.change(say(ctx.kit, option), (night) => {
    const at = begun(ctx, night, index);
    const answers = answersOf(night, at);
    const had = answers[name] ?? [];
    const now = had.includes(option)
      ? had.filter((each) => each !== option)
      : PARTS[name].one
        ? [option]
        : [...had, option];
    const event = night.doc.events[at];
    night.plan.drops = { ...night.plan.drops, [event.at]: { ...answers, [name]: now } };
    event.note = sentence(night.plan.drops[event.at]);
  });
}

/** @param {Ctx} ctx */
function chips(ctx, index, name) {
  const label = PARTS[name].label();
  const chosen = answersOf(ctx.night, index)[name] ?? [];
  const chip = (option) =>
    h(
      "button",
      {
        type: "button",
        class: "choice",
        aria: { pressed: chosen.includes(option) },
        data: { k: `${name}/${option}` },
        on: { click: () => press(ctx, index, name, option) },
      },
      h("span", { text: say(ctx.kit, option) }),
    );
  return h(
    "div",
    { class: "choices", role: "group", aria: { label } },
    h("p", { class: "label", text: label, aria: { hidden: "true" } }),
    h("div", { class: "options" }, PARTS[name].options.map(chip)),
  );
}

/** @param {Ctx} ctx @param {Iso} iso */
function moveTo(ctx, index, iso) {
  ctx.change(t("Time: {time}", { time: timeOf(iso) }), (night) => {
    const before = night.doc.events[index].at;
    const { [before]: answers, ...others } = night.plan.drops ?? {};
    night.plan.drops = answers ? { ...others, [iso]: answers } : others;
    pointTo(ctx, "bpdrop", retime(night, "events", index, iso));
  });
}

/** @param {Ctx} ctx */
function pressures(ctx, index) {
  if (index == null)
    return bigButton(
      t("Write the blood pressure"),
      () => ctx.change(t("Blood pressure drop"), (night) => begun(ctx, night, null)),
      { data: { k: "write-pressure" } },
    );
  const row = `events[${index}]`;
  return h(
    "div",
    { class: "values" },
    askedAt(ctx.kit, "events").map((name) => fieldRow(ctx, `${row}.${name}`)),
  );
}

/** @param {Ctx} ctx */
function cuff(ctx, index) {
  const paths = (night) => {
    const row = night ? `events[${begun(ctx, night, index)}]` : "events";
    return { systolic: `${row}.systolic`, diastolic: `${row}.diastolic` };
  };
  return measureRow(ctx, "pressure", paths);
}

/** @param {Ctx} ctx */
function draw(ctx, params) {
  if (!ctx.night) return note(t("No treatment is open."));
  keepAwake(true);
  const index = indexOf(ctx, params);
  const aid =
    ctx.kit.first_aid?.hypotension ??
    t("Turn the fluid removal (UF) off and lie flat, head low, legs up. Do what your training says.");
  const worse = (answersOf(ctx.night, index).better ?? []).includes(NOT_BETTER);
  return [
    note(aid, "care"),
    chips(ctx, index, "felt"),
    pressures(ctx, index),
    cuff(ctx, index),
    chips(ctx, index, "done"),
    chips(ctx, index, "better"),
    worse ? bigButton(t("Not better: what to do"), () => go("danger", "faint"), { tone: "danger" }) : null,
    index == null
      ? null
      : momentRow("bpdrop", t("Time"), ctx.night.doc.events[index].at, (iso) => moveTo(ctx, index, iso)),
  ].filter(Boolean);
}

/** @param {Ctx} ctx */
function drop(ctx, index) {
  replace("running");
  ctx.change(t("Event removed"), (night) => removeRow(night, "events", index));
}

/** @param {Ctx} ctx */
function bar(ctx, params) {
  if (!ctx.night) return [{ label: t("Tonight"), go: "tonight" }];
  const index = indexOf(ctx, params);
  if (index == null) return [{ label: t("Back to the treatment"), go: "running", tone: "plain" }];
  return [
    { label: t("Done"), go: "running" },
    { label: t("Remove this note"), tap: () => drop(ctx, index) },
  ];
}

register("bpdrop", { title: () => t("Blood pressure drop"), draw, bar });
