/* What two phones answered differently in one place: both values in words, one touch says which is right. */

import { eventWords } from "../choices.js";
import { holderOf, openQuestions } from "../draft.js";
import { fieldName, shownValue } from "../fields.js";
import { siteName } from "../needle_sites.js";
import { whoWords } from "../others.js";
import * as outbox from "../outbox.js";
import { calledHere } from "../ready.js";
import { register } from "../router.js";
import { bigButton, h, note, toast } from "../ui.js";
import { capital, t, timeOf } from "../words.js";

/** @param {Ctx} ctx */
const nightOf = (ctx, id) => ctx.nights.find((night) => night.id === id) ?? ctx.night;

const LISTS = () => ({ readings: t("Reading"), events: t("Event"), medicines: t("Medicine"), checks: t("Check") });

/** Which row a question is about: "22:10 Heparin". @param {Ctx} ctx */
function rowName(ctx, list, row) {
  if (!list) return "";
  const site = siteName(ctx.kit, row.site);
  const kind = row.kind && eventWords(ctx.kit, row.kind);
  const words = kind ?? site ?? (row.name || row.words ? calledHere(ctx.kit, row) : LISTS()[list]);
  return [row.at && timeOf(row.at), words].filter(Boolean).join(" ");
}

/** @param {Ctx} ctx @param {Night} night */
async function choose(ctx, night, question, choice) {
  const holder = holderOf(night, question);
  const stood = holder?.[question.field];
  outbox.settle(night, question, choice);
  const keep = async () => {
    night.touched_at = new Date().toISOString();
    await ctx.save(night);
    ctx.redraw();
    outbox.push();
  };
  await keep();
  toast(t("Answered: {what}", { what: placeOf(ctx, question) }), () => {
    if (holder) holder[question.field] = stood;
    night.questions = [...night.questions, question];
    return keep();
  });
}

/** @param {Ctx} ctx */
function placeOf(ctx, { list, field }) {
  const path = list ? `${list}.${field}` : field;
  return fieldName(ctx, ctx.kit.limits?.[path] ? path : field);
}

/** @param {Ctx} ctx */
function whose(ctx, { by, at }) {
  return `${capital(whoWords(ctx, by))}, ${timeOf(at)}`;
}

/** @param {Ctx} ctx @param {Night} night */
function card(ctx, night, question) {
  const { list, id, field, mine } = question;
  const holder = holderOf(night, question);
  const shown = (value) => shownValue(ctx, list ? `${list}.${field}` : field, value);
  const answer = (choice, value, hint) =>
    bigButton(shown(value), () => choose(ctx, night, question, choice), {
      hint,
      data: { k: `${choice}-${list}-${id}-${field}` },
    });
  return h(
    "section",
    { class: "card" },
    h("h2", { text: [rowName(ctx, list, holder), placeOf(ctx, question)].filter(Boolean).join(": ") }),
    answer("mine", mine, t("On this phone")),
    answer("theirs", holder[field], whose(ctx, question)),
  );
}

register("conflict", {
  title: () => t("Two phones, two answers"),
  draw: (ctx, [id]) => {
    const night = nightOf(ctx, id);
    const questions = night ? openQuestions(night) : [];
    if (!questions.length) return note(t("Nothing is asked any more: both phones say the same."), "good");
    return [
      note(
        t(
          "Two phones wrote something different in the same place. Touch what is right. Everything else that either " +
            "of them wrote is in the record already.",
        ),
        "care",
      ),
      questions.map((question) => card(ctx, night, question)),
    ];
  },
  bar: () => [{ label: t("What waits to be sent"), go: "queue", tone: "plain" }],
});
