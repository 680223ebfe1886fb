/* The whole night on one screen: what came out, what is unusual, what is not known; and the hand-over. */

import { planChoices } from "../choices.js";
import { declaredRows, figureOf } from "../declared.js";
import { limitsOf, setMoment } from "../draft.js";
import { fieldName, placeOfField, shownValue } from "../fields.js";
import { momentRow } from "../moment_row.js";
import { lastPost } from "../nights_before.js";
import { toldOf, unitOf } from "../numbers.js";
import { practisedNote, throwAway } from "../practice.js";
import { register } from "../router.js";
import { askedTwice, blocking, fastestWords, figures, missing, sameTime, unusual } from "../sum_up.js";
import { bigButton, dl, h, note } from "../ui.js";
import { dayOf, fmt, hours, t, timeOf, tn } from "../words.js";
import { isRight } from "./paper.js";

/** Told whether they are known or not; the other numbers where they are. */
const ALWAYS = ["pre_systolic", "post_systolic"];
/** Told in rows of their own. */
const ELSEWHERE = ["pre_weight_kg", "post_weight_kg", "uf_removed_l"];

/** @param {Ctx} ctx */
function handOver(ctx) {
  const { id } = ctx.night;
  ctx.handOver();
  ctx.go("answer", id);
}

/** @param {Ctx} ctx */
function times(ctx) {
  const { doc } = ctx.night;
  if (ctx.night.plan.paper)
    return dl([
      [t("Start"), doc.started_at && timeOf(doc.started_at)],
      [t("End"), doc.ended_at && timeOf(doc.ended_at)],
      [t("Source"), t("Entered from paper")],
    ]);
  const row = (path, label) =>
    momentRow(path, label, doc[path] ?? ctx.now().toISOString(), (iso) =>
      ctx.change(`${label}: ${timeOf(iso)}`, (night) => setMoment(night, path, iso)),
    );
  return h("div", { class: "pair" }, row("started_at", t("Start")), row("ended_at", t("End")));
}

/** What was taken off and by what that is known; one reading long before the end is no total. */
function removedWords({ litres, by, read }, unit) {
  const value = (figure) => `${fmt(figure, 2)} ${unit}`;
  if (by === "total") return [litres, unit, 2];
  if (by === "weights") return [t("{value}, by the weights", { value: value(litres) })];
  if (by === "readings")
    return [t("{value}, by the reading of {time}", { value: value(litres), time: timeOf(read.at) })];
  if (!read) return [null];
  return [t("not known; {value} at {time}, long before the end", { value: value(read.litres), time: timeOf(read.at) })];
}

/** @param {Ctx} ctx */
function outcome(ctx) {
  const { doc } = ctx.night;
  const found = figures(ctx.night, ctx.kit, lastPost(ctx));
  const { minutes, rate, fastest, limit, off, gained } = found;
  const { kit } = ctx;
  const [weight, removed, lost] = ["pre_weight_kg", "uf_removed_l", "blood_lost_ml"].map((path) => limitsOf(kit, path));
  const { gain, uf_rate: ufRate } = kit.computed;
  const choice = planChoices().find((each) => each.value === doc.plan_choice)?.label;
  return dl([
    [t("Length"), minutes === null ? null : hours(minutes), "h"],
    [
      t("Weight before and after"),
      `${figureOf(weight, doc.pre_weight_kg)} → ${figureOf(weight, doc.post_weight_kg)}`,
      unitOf(weight),
    ],
    off !== null && [t("Off the target weight"), toldOf(weight, off), unitOf(weight), 1],
    gained && [gain.label, toldOf(gain, gained.kg), unitOf(gain), gain.decimals],
    [removed?.label, ...removedWords(found, removed?.unit)],
    [ufRate.label, rate, ufRate.unit, ufRate.decimals],
    fastest && [kit.computed.uf_rate_fastest?.label, fastestWords(fastest, limit)],
    choice && [t("Plan"), `${choice}: ${fmt(doc.planned_uf_l)} L, ${hours(doc.planned_minutes)} h`],
    doc.blood_return && [t("Blood in the lines"), shownValue(ctx, "blood_return", doc.blood_return)],
    doc.early_reason && [t("Why it ended early"), shownValue(ctx, "early_reason", doc.early_reason)],
    doc.blood_lost_ml != null && [lost?.label, figureOf(lost, doc.blood_lost_ml), lost?.unit],
    ...declaredRows(kit, doc, ["before", "after", "fluid"], { always: ALWAYS, elsewhere: ELSEWHERE }),
    [
      t("Noted"),
      [
        tn("{n} reading", "{n} readings", doc.readings.length),
        tn("{n} event", "{n} events", doc.events.length),
        tn("{n} medicine", "{n} medicines", doc.medicines.length),
      ].join(", "),
    ],
  ]);
}

const list = (items) =>
  h(
    "ul",
    null,
    items.map((words) => h("li", { text: words })),
  );

/** @param {Ctx} ctx */
function refused(ctx) {
  const go = (field) => () => ctx.go(...placeOfField(field, ctx.night));
  return ctx.night.faults.map(({ field, message }) =>
    bigButton(message, go(field), { tone: "care", hint: field ? fieldName(ctx, field) : null }),
  );
}

/** @param {Ctx} ctx */
function draw(ctx) {
  if (!ctx.night) return note(t("No treatment is open."));
  const stops = blocking(ctx.night);
  const odd = unusual(ctx.night, ctx.kit, lastPost(ctx));
  const open = missing(ctx.night, ctx.kit);
  return [
    ctx.night.practice && [
      note(t("This was practice. Nothing of it was sent, and nothing of it stays.")),
      practisedNote(ctx),
    ],
    ctx.night.doc.started_at && h("p", { class: "soft", text: dayOf(ctx.night.doc.started_at) }),
    stops.length > 0 && note(t("This has to be put right first:"), "stop", list(stops)),
    sameTime(ctx.night, ctx.kit).map(({ started_at: at }) =>
      note(
        t("The unit has a treatment of {day}, {time}, already. Hand this one over only if it is another one.", {
          day: dayOf(at),
          time: timeOf(at),
        }),
        "care",
      ),
    ),
    askedTwice(ctx.night).map(({ path, words }) => note(words, "care", isRight(ctx, path))),
    times(ctx),
    refused(ctx),
    outcome(ctx),
    odd.length
      ? note(t("Unusual; the unit sees it marked:"), "care", list(odd))
      : note(t("The numbers were compared with what is usual: nothing unusual. No person has looked at it."), "good"),
    open.length > 0 &&
      note(t("Not known. You may hand over without; the unit sees that it is not known."), "plain", list(open)),
  ];
}

/** Why it cannot go yet, or where it waits; null where it goes at once. @param {Ctx} ctx @param {string[]} stops */
function handOverHint(ctx, stops) {
  if (stops.length) return stops[0];
  if (askedTwice(ctx.night).length) return t("First answer what is asked");
  return ctx.online() ? null : t("It waits on this phone for the network");
}

/** @param {Ctx} ctx */
function bar(ctx) {
  if (!ctx.night) return [{ label: t("Tonight"), go: "tonight" }];
  if (ctx.night.practice) return [{ label: t("End of the practice: throw it away"), tap: () => throwAway(ctx) }];
  const stops = blocking(ctx.night);
  return [
    {
      label: t("Hand over to the unit"),
      tap: () => handOver(ctx),
      disabled: stops.length > 0 || askedTwice(ctx.night).length > 0,
      hint: handOverHint(ctx, stops),
    },
    {
      label: t("Back, to change something"),
      go: ctx.night.plan.paper ? "paper" : ctx.night.doc.ended_at ? "finish" : "running",
    },
  ];
}

register("summary", { title: () => t("Look it over"), draw, bar });
