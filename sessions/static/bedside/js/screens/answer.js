/*
 * After the hand-over, a plain answer: what was computed, how it lies to the plan and the nights before, whether the
 * unit looks at it.
 */

import { callButtons } from "../calls.js";
import { hasUnsent, openQuestions } from "../draft.js";
import { overLimit } from "../fluid.js";
import { keptOf } from "../kept.js";
import { lastPost, nightsBefore } from "../nights_before.js";
import { toldOf, unitOf } from "../numbers.js";
import { looksNext } from "../opening.js";
import { register } from "../router.js";
import { againstBefore, figures, spread } from "../sum_up.js";
import { dl, h, note } from "../ui.js";
import { dropWithoutFigure, wentOtherwise } from "../went_otherwise.js";
import { call } from "../wire.js";
import { fmt, hours, plainDay, t } from "../words.js";

const ASK_AGAIN = 4000;
const MOST_TIMES = 15;
const answers = new Map(); // id -> {tries, data}

/** The weekly dose, by the equation or, after long nights, by the fit alone. */
const WEEKLY = ["standard_ktv", "fitted_week"];

/** What is held against the limit of the prescription. */
const RATES = ["uf_rate", "uf_rate_fastest"];

/** What this phone keeps of the nights before, by the server's keys. */
const KEPT = ["minutes", "uf_volume", "uf_rate", "gain"];

/** What this phone knows by itself, in the same shape as the server's answer. @param {Ctx} ctx @param {Night} night */
function ownLines(ctx, night) {
  const { minutes, litres, rate, fastest, gained, off, lowest, limit } = figures(night, ctx.kit, lastPost(ctx, night));
  const { doc } = night;
  const values = {
    minutes,
    uf_volume: litres,
    uf_rate: rate,
    uf_rate_fastest: fastest?.rate ?? null,
    gain: gained?.kg ?? null,
    off_target: off,
    lowest_systolic: lowest,
    blood_processed: doc.blood_processed_l,
  };
  const planned = {
    minutes: doc.planned_minutes ?? ctx.kit.prescription?.minutes,
    uf_volume: doc.planned_uf_l,
    uf_rate: limit,
    uf_rate_fastest: limit,
    off_target: 0,
  };
  return Object.entries(values).map(([key, value]) => ({
    key,
    value,
    planned: planned[key] ?? null,
    because:
      key === "lowest_systolic" && dropWithoutFigure(doc)
        ? t("a low pressure was noted without a figure; the lowest may have been lower")
        : "",
    before: KEPT.includes(key) ? spread(nightsBefore(ctx, night), key) : null,
  }));
}

function againstPlan({ key, value, planned }, decimals) {
  if (planned == null || value == null) return "";
  if (key === "minutes") return t("planned {hours} h", { hours: hours(planned) });
  if (RATES.includes(key))
    return overLimit(value, planned)
      ? t("over the limit of {limit}", { limit: fmt(planned) })
      : t("under the limit of {limit}", { limit: fmt(planned) });
  return key === "off_target" ? "" : t("planned {value}", { value: fmt(planned, decimals) });
}

/** @param {Ctx} ctx */
function row(ctx, line) {
  const named = ctx.kit.computed[line.key];
  const { label, decimals } = named;
  const value =
    line.key === "minutes" && line.value != null
      ? `${hours(line.value)} h`
      : [fmt(toldOf(named, line.value), decimals), line.value != null && unitOf(named)].filter(Boolean).join(" ");
  const more = [
    line.because && t("doubtful: {why}", { why: line.because }),
    againstPlan(line, decimals),
    againstBefore(
      line.value,
      line.before,
      decimals,
      line.key === "minutes" ? (minutes) => `${hours(minutes)} h` : (number) => fmt(toldOf(named, number), decimals),
    ),
  ].filter(Boolean);
  return [
    label,
    h(
      "div",
      null,
      h("b", { text: line.value == null ? t("not known") : value }),
      more.map((words) => h("small", { text: words })),
    ),
  ];
}

const isOver = (line) => RATES.includes(line.key) && overLimit(line.value, line.planned);

function look(data) {
  const words = {
    not_judged: [
      t("The unit's computer has not looked through this night yet. The answer comes here and under “Past nights”."),
      "plain",
    ],
    on_the_list: [t("Something in this night is on the unit's list: somebody will look at it."), "care"],
    seen: [t("Somebody at the unit has looked at what was noticed in this night."), "good"],
    nothing: [
      t(
        "The unit's computer compared this night's numbers, events and checks with your limits, and put nothing " +
          "on the " +
          "unit's list. No person has looked at it.",
      ),
      "good",
    ],
    unknown: [t("Whether the unit looks at it is not known here."), "plain"],
  }[data.look];
  return note(words[0], words[1]);
}

/** @param {Night | null | undefined} night */
function handedWords(night) {
  if (!night) return null;
  if (night.faults.length || night.trouble)
    return note(t("It could not be handed over. Look at “What waits to be sent”."), "stop");
  if (openQuestions(night).length)
    return note(t("Two phones wrote different answers. Say which is right, under “What waits to be sent”."), "stop");
  if (night.delivered && !hasUnsent(night)) return note(t("Handed over: the unit has it."), "good");
  const { state } = keptOf(night);
  if (state === "failed")
    return note(t("Not kept on this phone: leave this window open until the unit has it."), "stop");
  if (state === "writing") return note(t("Being kept on this phone …"));
  return note(t("Kept on this phone and waiting for the network. It goes by itself; you may close the app."), "plain");
}

/**
 * Ask the server until the numbers are of this revision; a limited number of times, and only while this screen is in
 * sight.
 * @param {Ctx} ctx
 */
async function ask(ctx, id) {
  const entry = answers.get(id) ?? { tries: 0, data: null, busy: false };
  answers.set(id, entry);
  if (entry.busy || entry.tries >= MOST_TIMES || (entry.data?.ready && entry.data.look !== "not_judged")) return;
  Object.assign(entry, { busy: true, tries: entry.tries + 1 });
  const { kind, data } = await call(`/api/v1/bedside/nights/${id}/answer/`, { account: ctx.kit.account.id });
  entry.busy = false;
  if (kind === "ok") entry.data = data;
  if (!location.hash.startsWith("#/answer")) return;
  if (kind === "ok") ctx.redraw();
  setTimeout(() => location.hash.startsWith("#/answer") && ask(ctx, id), ASK_AGAIN);
}

/** What went otherwise, before any number and any comfort of it, with whom to call. @param {Ctx} ctx */
const whatHappened = (ctx, otherwise) =>
  note(
    t("What happened:"),
    "care",
    h(
      "ul",
      null,
      otherwise.map((words) => h("li", { text: words })),
    ),
    h("p", {
      text: t("If anything of it still troubles you, call the unit now: nobody sees it before the unit looks."),
    }),
    ...callButtons(ctx.kit.unit, "on_call"),
  );

/** @param {Ctx} ctx */
const nightOf = (ctx, params) =>
  ctx.nights.find((night) => night.id === params[0]) ??
  (params[0] ? null : ctx.nights.find((night) => night.stage === "handed"));

/** The unit's numbers, else this phone's own. @param {Ctx} ctx @param {Night | null | undefined} night */
function linesOf(ctx, night, data) {
  if (data?.ready) return data.lines.filter((line) => line.value != null || line.key === "standard_ktv");
  return night ? ownLines(ctx, night) : [];
}

/** When the unit looks, and whom to call before that. @param {Ctx} ctx @param {any} data @param {string[]} otherwise */
const foot = (ctx, data, otherwise) =>
  [
    data?.ready &&
      data.lines.every((line) => !WEEKLY.includes(line.key) || line.value == null) &&
      h("p", { class: "soft", text: t("A weekly dose is known only when bloods were drawn at this treatment.") }),
    note(looksNext(ctx.kit, ctx.now())),
    h("p", {
      text: t("If you feel unwell, do not wait for an answer here: call the unit, and in danger the emergency number."),
    }),
    ...(otherwise.length ? [] : callButtons(ctx.kit.unit, "calm")),
  ].filter(Boolean);

/** @param {Ctx} ctx */
function draw(ctx, params) {
  const night = nightOf(ctx, params);
  const id = night?.id ?? params[0];
  if (!id) return note(t("Nothing was handed over from this phone yet."));
  const asks = ctx.online() && (!night || night.delivered);
  if (asks) ask(ctx, id);
  const data = answers.get(id)?.data;
  const lines = linesOf(ctx, night, data);
  const otherwise = wentOtherwise(ctx.kit, night?.doc ?? data?.noted ?? {});
  return [
    handedWords(night),
    otherwise.length > 0 && whatHappened(ctx, otherwise),
    data && look(data),
    lines.some(isOver) && note(t("The UF rate was over your limit."), "care"),
    h("h2", { text: t("What came out") }),
    data?.night && h("p", { class: "soft", text: plainDay(data.night) }),
    lines.length > 0 && dl(lines.map((line) => row(ctx, line))),
    !data?.ready &&
      note(
        asks
          ? t("This is this phone's own arithmetic. The unit's figures come in a moment.")
          : t(
              "This is this phone's own arithmetic. The unit's figures, and whether it looks at this night, come " +
                "when there is a network.",
            ),
      ),
    ...foot(ctx, data, otherwise),
  ];
}

register("answer", {
  title: () => t("Your night"),
  draw,
  bar: () => [
    { label: t("Tonight"), go: "tonight" },
    { label: t("Past nights"), go: "nights" },
  ],
});
