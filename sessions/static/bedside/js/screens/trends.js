/* The own numbers over the last nights, each with one sentence that is computed from them. */

import { figureOf, weightParts } from "../declared.js";
import { limitsOf, shortOf } from "../draft.js";
import { overLimit } from "../fluid.js";
import { toldOf, unitOf } from "../numbers.js";
import { register } from "../router.js";
import { middle } from "../sum_up.js";
import { trend } from "../trend_pictures.js";
import { h, note } from "../ui.js";
import { dayOf, fmt, t } from "../words.js";

const known = (nights, of) => nights.map(of).filter((value) => value != null);
const field = (name) => (night) => night[name] ?? null;

const toldField = (limits, name) => (night) => toldOf(limits, night[name] ?? null);

const OWN_PICTURES = ["weight_kg", "systolic"];

/**
 * What is said of a number that is taken before and after: its name, unit and digits as declared, and both courses.
 * @param {Kit} kit @param {string} name without `pre_` and `post_`
 */
function beforeAndAfter(kit, name) {
  const limits = limitsOf(kit, `pre_${name}`);
  const decimals = limits?.decimals;
  return {
    title: shortOf(kit, `pre_${name}`),
    unit: unitOf(limits),
    ...(decimals != null && decimals >= 0 && { decimals }),
    series: [
      { name: t("before"), of: toldField(limits, `pre_${name}`) },
      { name: t("after"), of: toldField(limits, `post_${name}`) },
    ],
  };
}

/** A declared number of which no sentence of its own is known. @param {Kit} kit @param {string} name */
function another(nights, kit, name) {
  const limits = limitsOf(kit, `pre_${name}`);
  const [before, after] = [known(nights, field(`pre_${name}`)), known(nights, field(`post_${name}`))];
  const [low, high] = [Math.min(...before, ...after), Math.max(...before, ...after)].map((n) => figureOf(limits, n));
  const sentence = t("In {n} nights it was {low} to {high}.", { low, high, n: Math.max(before.length, after.length) });
  return { ...beforeAndAfter(kit, name), sentence: before.length || after.length ? sentence : "" };
}

/** @param {Kit} kit */
function weight(nights, kit) {
  const after = known(nights, field("post_weight_kg"));
  const gained = known(nights, field("gain"));
  const target = kit.prescription?.target_weight_kg ?? null;
  const [low, high] = after.length ? [Math.min(...after), Math.max(...after)] : [null, null];
  const told = (kg) => weightParts(kit, kg).kg;
  const words = {
    low: told(low),
    high: told(high),
    target: figureOf(limitsOf(kit, "pre_weight_kg"), target),
    n: after.length,
    gain: told(middle(gained)),
    unit: weightParts(kit, null).unit,
  };
  const first =
    target === null
      ? t("After treatment you weighed {low} to {high} {unit} in {n} nights.", words)
      : t(
          "After treatment you weighed {low} to {high} {unit} in {n} nights; your target now is {target} {unit}.",
          words,
        );
  const sentence = after.length
    ? [first, gained.length ? t("Between treatments you gained {gain} {unit} in the middle.", words) : ""]
        .filter(Boolean)
        .join(" ")
    : "";
  return {
    ...beforeAndAfter(kit, "weight_kg"),
    sentence,
    limit: target === null ? null : { name: t("target now"), of: () => toldOf(limitsOf(kit, "pre_weight_kg"), target) },
  };
}

const pairOf = (nights, when) =>
  ["systolic", "diastolic"].map((part) => fmt(middle(known(nights, field(`${when}_${part}`))), 0)).join(" / ");

/** @param {Kit} kit */
function pressure(nights, kit) {
  const sentence = t("In the middle your pressure was {before} before and {after} after treatment.", {
    before: pairOf(nights, "pre"),
    after: pairOf(nights, "post"),
  });
  return {
    ...beforeAndAfter(kit, "systolic"),
    title: limitsOf(kit, "readings.systolic")?.label ?? "",
    sentence,
  };
}

/** @param {Kit} kit */
function ufRate(nights, kit) {
  const { label, unit, decimals } = kit.computed.uf_rate;
  const rows = nights.filter((night) => night.uf_rate != null && night.uf_rate_limit != null);
  const over = rows.filter((night) => overLimit(night.uf_rate, night.uf_rate_limit)).length;
  const sentence = over
    ? t("In {over} of {n} nights fluid came off faster than your limit.", { over, n: rows.length })
    : t("In none of {n} nights did fluid come off faster than your limit.", { n: rows.length });
  return {
    title: label,
    unit,
    decimals,
    sentence,
    series: [{ name: label, of: field("uf_rate") }],
    limit: { name: t("your limit"), of: field("uf_rate_limit") },
  };
}

/**
 * Middle of the last ten nights against the middle of those before; "" while there are too few for that.
 * @param {Kit} kit
 */
function venous(nights, kit) {
  const values = known(nights, field("venous_median"));
  const { label, unit } = kit.computed.venous_median;
  const rest = {
    title: label,
    unit,
    series: [{ name: label, of: field("venous_median") }],
  };
  if (!values.length) return { ...rest, sentence: "" };
  const [before, last] = [values.slice(0, -10), values.slice(-10)];
  const range = t("The venous pressure was {low} to {high} mmHg.", {
    low: fmt(Math.min(...values), 0),
    high: fmt(Math.max(...values), 0),
  });
  const change = before.length >= 5 ? Math.round((middle(last) ?? 0) - (middle(before) ?? 0)) : null;
  const words = { n: Math.abs(change ?? 0) };
  const then =
    change === null
      ? ""
      : change > 0
        ? t("In the last ten nights it was {n} higher than before.", words)
        : change < 0
          ? t("In the last ten nights it was {n} lower than before.", words)
          : t("In the last ten nights it was the same as before.");
  return { ...rest, sentence: [range, then].filter(Boolean).join(" ") };
}

/** After long nights only the fit says the weekly dose: then that is drawn, and never both in one line. */
const weeklyKey = (nights) => {
  const known = (key) => nights.some((night) => night[key] != null);
  return !known("standard_ktv") && known("fitted_week") ? "fitted_week" : "standard_ktv";
};

/** @param {Kit} kit */
function dose(nights, kit) {
  const key = weeklyKey(nights);
  const { label, decimals } = kit.computed[key];
  const rows = nights.filter((night) => night[key] != null);
  const last = rows.at(-1);
  const sentence = last
    ? t("The last known weekly dose was {value}, on {day}. It is known only for nights with bloods.", {
        value: fmt(last[key], 2),
        day: dayOf(last.started_at),
      })
    : "";
  return {
    title: label,
    unit: "",
    decimals,
    sentence,
    series: [{ name: label, of: field(key) }],
  };
}

/** @param {Ctx} ctx */
function draw(ctx) {
  const nights = [...(ctx.kit.history ?? [])].reverse();
  if (!nights.length) return note(t("No nights yet."));
  const others = (ctx.kit.asked?.drawn ?? []).filter((name) => !OWN_PICTURES.includes(name));
  const pictures = [
    ...[weight, pressure, ufRate, venous, dose].map((make) => make(nights, ctx.kit)),
    ...others.map((name) => another(nights, ctx.kit, name)),
  ].map((picture) => trend({ nights, ...picture }));
  return [
    h("p", {
      class: "soft",
      text: t("Your last {n} nights. Ask the unit what they mean for you.", { n: nights.length }),
    }),
    pictures,
  ];
}

register("trends", {
  title: () => t("How it goes over time"),
  draw,
  bar: () => [
    { label: t("Past nights"), go: "nights" },
    { label: t("Tonight"), go: "tonight" },
  ],
});
