/* A treatment runs already: which, since when, on whose phone; then to go on with it, or to say that it is another. */

import { changesUnread } from "../acknowledging.js";
import { callButtons } from "../calls.js";
import { look, toldOfDone } from "../done_already.js";
import { joinNights, takeBack } from "../draft.js";
import { whenWords } from "../fields.js";
import { whoWords } from "../others.js";
import { register, replace } from "../router.js";
import { runningBeside, unclear } from "../second.js";
import { doneAlready } from "../treated.js";
import { bigButton, h, note, toast } from "../ui.js";
import { t, timeOf } from "../words.js";

/** @param {Ctx} ctx */
const words = (ctx, { started_at: started, by }) =>
  by
    ? t("A treatment runs since {time}, begun by {who}.", { time: whenWords(started), who: whoWords(ctx, by) })
    : t("A treatment runs since {time}, begun on this phone.", { time: whenWords(started) });

/** @param {Ctx} ctx */
function goOn(ctx, { id, document }) {
  ctx.open(id, document);
  ctx.go("running");
}

/** @param {Ctx} ctx */
function beginAnother(ctx, all) {
  ctx.begin();
  ctx.change(t("Begun beside another"), (night) => {
    for (const { id } of all) night.acks[`beside-${id}`] = new Date().toISOString();
  });
  ctx.go("checks");
}

/** Both are one: what was written here goes into the other, and this one was begun by mistake. @param {Ctx} ctx */
async function same(ctx, { id, document }) {
  const doubled = ctx.night;
  const into = ctx.open(id, document);
  if (!into) return;
  ctx.change(t("Put together"), (night) => joinNights(night, doubled), true);
  if (doubled.revision === null) await ctx.forget(doubled);
  else {
    takeBack(doubled);
    await ctx.save(doubled);
  }
  ctx.push();
  ctx.go("running");
}

/** @param {Ctx} ctx */
function two(ctx, { id }) {
  ctx.change(t("They are two treatments"), (night) => {
    night.acks[`beside-${id}`] = new Date().toISOString();
  });
  ctx.go("running");
}

/** @param {Ctx} ctx */
function begun(ctx, all) {
  const own = t("On this phone one was begun at {time}. Is it the same treatment?", {
    time: timeOf(ctx.night.doc.started_at),
  });
  return all.map((each) =>
    h(
      "section",
      { class: "card" },
      note(words(ctx, each), "care"),
      h("p", { text: own }),
      bigButton(t("It is the same: put both together"), () => same(ctx, each), {
        tone: "go",
        hint: t("Nothing that either phone wrote is lost"),
        data: { k: `same-${each.id}` },
      }),
      bigButton(t("They are two treatments"), () => two(ctx, each), { data: { k: `two-${each.id}` } }),
    ),
  );
}

/** @param {Ctx} ctx */
function before(ctx, all) {
  return [
    all.map((each) =>
      h(
        "section",
        { class: "card" },
        note(words(ctx, each), "stop"),
        bigButton(t("Go on with this treatment"), () => goOn(ctx, each), { tone: "go", data: { k: `on-${each.id}` } }),
      ),
    ),
    h("p", { text: t("Whoever begins a second one may give heparin twice. Ask who began the first.") }),
    bigButton(t("Begin another one all the same"), () => beginAnother(ctx, all), {
      hint: t("Only when the first is really over"),
      data: { k: "begin-second" },
    }),
  ];
}

register("second", {
  title: () => t("A treatment runs already"),
  draw: (ctx) => {
    const open = unclear(ctx);
    if (open.length) return begun(ctx, open);
    const all = runningBeside(ctx);
    return all.length ? before(ctx, all) : note(t("No other treatment runs that this phone knows of."));
  },
  bar: () => [{ label: t("To tonight"), go: "tonight", tone: "plain" }],
});

/* One is done already --------------------------------------------------------------------------------- */

/** @param {Ctx} ctx */
function beginAgain(ctx) {
  ctx.begin();
  ctx.go(changesUnread(ctx) ? "changes" : "checks");
}

register("again", {
  title: () => t("Another treatment?"),
  draw: (ctx) => {
    const found = doneAlready(ctx);
    if (!found) return note(t("No other treatment of today is known to this phone."));
    return [
      note(toldOfDone(found), "care"),
      h("p", {
        text: t(
          "A second treatment so soon takes off fluid again, and heparin may be given twice. Ask the unit first.",
        ),
      }),
      ...callButtons(ctx.kit.unit, "on_call"),
      bigButton(t("Begin another one: the unit said I may"), () => beginAgain(ctx), { data: { k: "begin-again" } }),
    ];
  },
  bar: (ctx) => {
    const found = doneAlready(ctx);
    return [
      found && { label: t("Look at the treatment that is done"), tap: () => look(ctx, found) },
      { label: t("To tonight"), go: "tonight", tone: "plain" },
    ];
  },
});

/* Begun by mistake ------------------------------------------------------------------------------------ */

const HAPPENED = ["readings", "events", "medicines"];

/** @param {Ctx} ctx */
async function mistaken(ctx) {
  const { night } = ctx;
  const undo = { stage: night.stage, screen: night.screen };
  const started = night.revision !== null;
  if (started) {
    takeBack(night);
    await ctx.save(night);
  } else await ctx.forget(night);
  ctx.push();
  replace("tonight");
  toast(t("Begun by mistake: taken back"), async () => {
    Object.assign(night, undo, { mistaken: false, delivered: null });
    await ctx.remember(night);
    ctx.push();
  });
}

register("mistake", {
  title: () => t("Begun by mistake"),
  draw: (ctx) => {
    const { night } = ctx;
    if (!night || night.stage === "handed") return note(t("No treatment is open."));
    if (HAPPENED.some((list) => night.doc[list].length) || night.doc.ended_at)
      return [
        note(t("Something was noted in this treatment, so it was not begun by mistake: end it instead."), "care"),
        bigButton(t("To the end of the treatment"), () => ctx.go("finish"), { tone: "go" }),
      ];
    return [
      h("p", {
        text: t("If you take the record back, the unit sees that no treatment was done, and nobody calls it missing."),
      }),
      bigButton(t("It was begun by mistake: take it back"), () => mistaken(ctx), {
        tone: "danger",
        data: { k: "take-back" },
      }),
    ];
  },
  bar: () => [{ label: t("No: go on with it"), go: "tonight", tone: "plain" }],
});
