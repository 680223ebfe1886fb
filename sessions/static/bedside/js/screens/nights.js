/* The last thirty nights, on the phone: a list, and one night's numbers. */

import { declaredRows, figureOf } from "../declared.js";
import { limitsOf } from "../draft.js";
import { overLimit } from "../fluid.js";
import { nightWords } from "../night_row.js";
import { toldOf, unitOf } from "../numbers.js";
import { register } from "../router.js";
import { bigButton, dl, h, note } from "../ui.js";
import { dayOf, hours, plainDay, t, timeOf } from "../words.js";

/** @param {PastNight} night */
const dateOf = (night) => plainDay(night.night);
const LOOKS = () => ({ waiting: t("on the unit's list"), seen: t("the unit has looked at it"), none: "" });
/** Told whether they are known or not; the other numbers where they are. */
const ALWAYS = ["pre_systolic", "post_systolic"];
/** Told in a row of their own. */
const ELSEWHERE = ["pre_weight_kg", "post_weight_kg"];

/** @param {Ctx} ctx @param {PastNight} night */
function entry(ctx, night) {
  const words = [...nightWords(ctx.kit, night), LOOKS()[night.alerts]];
  return h(
    "li",
    null,
    bigButton(dateOf(night), () => ctx.go("nights", night.id), {
      hint: words.filter(Boolean).join(" · "),
      data: { k: night.id },
    }),
  );
}

/** A number that the unit computed, under the name that it has everywhere. @param {Ctx} ctx */
function computed(ctx, night, key) {
  const named = ctx.kit.computed[key];
  const { label, decimals } = named;
  const doubtful = night.doubtful?.includes(key);
  const name = doubtful ? t("{number}, doubtful", { number: label }) : label;
  return [name, toldOf(named, night[key]), unitOf(named), decimals];
}

/** @param {Ctx} ctx @param {PastNight} night */
function whole(ctx, night) {
  const weight = limitsOf(ctx.kit, "pre_weight_kg");
  return [
    LOOKS()[night.alerts] && note(LOOKS()[night.alerts], night.alerts === "waiting" ? "care" : "plain"),
    overLimit(night.uf_rate, night.uf_rate_limit) && note(t("The UF rate was over your limit."), "care"),
    dl([
      night.source === "paper" && [t("Source"), t("Entered from paper")],
      [t("Started"), timeOf(night.started_at)],
      [t("Length"), night.minutes == null ? null : hours(night.minutes), "h"],
      [
        t("Weight before and after"),
        `${figureOf(weight, night.pre_weight_kg)} → ${figureOf(weight, night.post_weight_kg)}`,
        unitOf(weight),
      ],
      computed(ctx, night, "gain"),
      computed(ctx, night, "uf_volume"),
      computed(ctx, night, "uf_rate"),
      [t("Your limit"), night.uf_rate_limit, ctx.kit.computed.uf_rate.unit],
      ...declaredRows(ctx.kit, night, ["before", "after"], { always: ALWAYS, elsewhere: ELSEWHERE }),
      computed(ctx, night, "venous_median"),
      computed(ctx, night, "arterial_median"),
      computed(ctx, night, "standard_ktv"),
      night.fitted_week != null && computed(ctx, night, "fitted_week"),
    ]),
    ctx.online() &&
      h(
        "a",
        { class: "big plain", href: `/nights/${night.id}/` },
        h("span", { text: t("Everything of this night") }),
        h("small", { text: t("Needs the network") }),
      ),
  ];
}

/** @param {Ctx} ctx */
function waiting(ctx) {
  const here = ctx.nights.filter(
    (night) => night.stage === "handed" && !ctx.kit.history?.some((each) => each.id === night.id),
  );
  return here.map((night) =>
    h(
      "li",
      null,
      bigButton(
        night.doc.started_at
          ? `${dayOf(night.doc.started_at)}, ${timeOf(night.doc.started_at)}`
          : t("A night without a start"),
        () => ctx.go("answer", night.id),
        { hint: night.delivered ? t("the unit has it") : t("waits on this phone"), data: { k: night.id } },
      ),
    ),
  );
}

/** @param {Ctx} ctx */
function draw(ctx, [id]) {
  const history = ctx.kit.history ?? [];
  const night = history.find((each) => each.id === id);
  if (id) return night ? whole(ctx, night) : note(t("This night is not among the last thirty on this phone."));
  const own = waiting(ctx);
  if (!history.length && !own.length) return note(t("No nights yet."));
  return h(
    "ul",
    { class: "bare rows" },
    own,
    history.map((each) => entry(ctx, each)),
  );
}

/** @param {Ctx} ctx */
function bar(ctx, [id]) {
  const night = ctx.kit.history?.find((each) => each.id === id);
  if (night)
    return [
      { label: t("All nights"), go: "nights" },
      ctx.online() && { label: t("What came out"), go: ["answer", id] },
    ];
  return [
    { label: t("How it goes over time"), go: "trends" },
    { label: t("Enter a night from paper"), go: "paper" },
  ];
}

register("nights", {
  title: (ctx, [id]) => {
    const night = ctx.kit.history?.find((each) => each.id === id);
    return night ? dateOf(night) : t("Past nights");
  },
  draw,
  bar,
});
