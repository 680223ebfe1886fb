/* Home: what is next as one large action, and what has to be known before it. */

import { changesUnread, unseen } from "../acknowledging.js";
import { callAction, callButtons } from "../calls.js";
import { eventWords } from "../choices.js";
import { notSo } from "../danger.js";
import { look, toldOfDone } from "../done_already.js";
import { isLive } from "../draft.js";
import { dueWords } from "../due_words.js";
import * as kits from "../kit.js";
import { saidToday, saidWords } from "../left_out.js";
import { looksNext } from "../opening.js";
import * as outbox from "../outbox.js";
import { twoClocks, twoClocksWords } from "../place.js";
import { practisedNote, throwAwayButton } from "../practice.js";
import { here, register } from "../router.js";
import { askWhatRuns, runningBeside } from "../second.js";
import { whyAsk } from "../stops.js";
import { doneAlready, treatedToday } from "../treated.js";
import { bigButton, dl, h, note } from "../ui.js";
import { plain, setPlain } from "../vault.js";
import { dayOf, t, timeOf, tn } from "../words.js";

const STAGE = { before: "checks", running: "running", after: "finish", handed: "answer" };
/**
 * The treatment that goes on tonight; a night that is being typed in from paper stands among the others.
 * @param {Ctx} ctx
 */
const inHand = (ctx) =>
  (isLive(ctx.night) ? ctx.night : ctx.nights.find((night) => isLive(night) && night.doc.started_at)) ?? null;

/** Back to the screen where the night was left, else to the one of its stage. @param {Ctx} ctx @param {Night} night */
function goOn(ctx, night) {
  ctx.open(night.id);
  const place = night.screen ? night.screen.slice(2).split("/").map(decodeURIComponent) : [STAGE[night.stage]];
  ctx.go(...place);
}

let asking = false;

/**
 * A new night begins with what changed, if that was not read yet; and never beside one that runs without that being
 * told first. Whoever has gone elsewhere while the unit was asked, into trouble say, is not called back from there.
 * @param {Ctx} ctx
 */
async function begin(ctx) {
  if (asking) return;
  asking = true;
  const all = await askWhatRuns(ctx);
  asking = false;
  if (here().name !== "tonight") return;
  if (all.length) return ctx.go("second");
  if (doneAlready(ctx)) return ctx.go("again");
  ctx.begin();
  ctx.go(changesUnread(ctx) ? "changes" : "checks");
}

/** @param {Night} night */
const nameOf = (night) =>
  night.doc.started_at ? `${dayOf(night.doc.started_at)}, ${timeOf(night.doc.started_at)}` : dayOf(night.touched_at);

/** Lines of the prescription, in the unit's words: {label, number, unit} each. */
const linesOf = (lines = []) => lines.map(({ label, number, unit }) => [label, number, unit]);

/** @param {Ctx} ctx */
function prescription(ctx) {
  const ordered = ctx.kit.prescription;
  if (!ordered) return null;
  const signed = t("Version {n}, signed by {who}, in force from {day}.", {
    n: ordered.version,
    who: ordered.signed_by,
    day: dayOf(ordered.in_force_from),
  });
  return [
    h("h2", { text: t("Tonight's prescription") }),
    dl(linesOf(ordered.lines?.main)),
    ordered.note && note(ordered.note),
    h(
      "details",
      null,
      h("summary", { text: t("The whole prescription") }),
      dl(linesOf(ordered.lines?.other)),
      h("p", { class: "soft", text: signed }),
    ),
  ];
}

/**
 * Why the unit is asked first; to begin all the same is then no large touch under the thumb, and says what it is.
 * @param {Ctx} ctx
 */
function askFirst(ctx) {
  const why = whyAsk(ctx);
  if (!why.length) return null;
  if (inHand(ctx)) return [...why, ...callButtons(ctx.kit.unit, "on_call")];
  const words = ctx.kit.prescription ? t("Begin: the unit said I may") : t("Begin without a prescription");
  const hint = t("Only after the unit has said so");
  return [...why, bigButton(words, () => begin(ctx), { hint, data: { k: "begin-all-the-same" } })];
}

/** @param {Ctx} ctx */
function due(ctx) {
  const items = (ctx.kit.due ?? []).filter((item) => !item.noted);
  if (!items.length) return null;
  const late = items.filter((item) => item.overdue).length;
  return [
    h("h2", { text: t("What is due") }),
    bigButton(tn("{n} thing is due", "{n} things are due", items.length), () => ctx.go("due"), {
      tone: late ? "care" : "plain",
      hint: dueWords(items),
      data: { k: "due" },
    }),
  ];
}

/** @param {Ctx} ctx */
function unit(ctx) {
  const age = kits.ageHours();
  const kept = t("From the unit: {day}, {time}.", { day: dayOf(ctx.kit.kept_at), time: timeOf(ctx.kit.kept_at) });
  return [
    h("h2", { text: t("The unit") }),
    note(looksNext(ctx.kit, ctx.now())),
    h("p", { text: t("This is a record, not an alarm: nobody watches it through the night.") }),
    ...callButtons(ctx.kit.unit, "calm"),
    h("p", { class: "soft", text: kept }),
    ctx.online() &&
      age !== null &&
      age > 1 &&
      bigButton(t("Ask the unit again"), () => ctx.refresh(), { data: { k: "refresh" } }),
  ];
}

/** @param {Ctx} ctx */
function others(ctx) {
  const mine = ctx.nights.filter((night) => night !== inHand(ctx) && night.stage !== "handed");
  const known = new Set(ctx.nights.map((night) => night.id));
  const away = (ctx.kit.open ?? []).filter((document) => !known.has(document.id));
  const buttons = [
    ...mine.map((night) =>
      bigButton(t("Go on with {night}", { night: nameOf(night) }), () => goOn(ctx, night), {
        hint: night.practice ? t("Practice") : night.plan.paper ? t("From paper") : null,
        data: { k: night.id },
      }),
    ),
    ...away.map((document) =>
      bigButton(
        t("Go on with {night}", { night: `${dayOf(document.started_at)}, ${timeOf(document.started_at)}` }),
        () => goOn(ctx, /** @type {Night} */ (ctx.open(document.id))),
        { hint: t("Begun on another phone or page"), data: { k: document.id } },
      ),
    ),
  ];
  return buttons.length ? [h("h2", { text: t("Not handed over yet") }), ...buttons] : null;
}

/** What was noted on a card before a record was begun, so that nothing goes in unseen. @param {Ctx} ctx */
function noted(ctx) {
  return ctx.jotted().map((event) =>
    note(
      t("Noted at {time}: {what}. It goes into the record that is begun next.", {
        time: timeOf(event.at),
        what: eventWords(ctx.kit, event.kind),
      }),
      "care",
      notSo(() => ctx.unjot(event), `unjot-${event.at}`),
    ),
  );
}

/**
 * What is not the treatment itself: that there is none today, that one was begun by mistake, a second pair of hands.
 * @param {Ctx} ctx @param {Night | null} night
 */
function aside(ctx, night) {
  const link = (words, to) => bigButton(words, () => ctx.go(to), { data: { k: to } });
  return h("div", { class: "rows" }, [
    night?.practice ? [practisedNote(ctx), throwAwayButton(ctx)] : null,
    night && !night.practice && link(t("Begun by mistake"), "mistake"),
    !night && !treatedToday(ctx).length && link(t("No treatment today"), "nottonight"),
    link(t("I help: what happens now"), "helper"),
  ]);
}

/** The treatment that is done: said before anything of a next one. @param {Ctx} ctx */
function done(ctx) {
  const found = doneAlready(ctx);
  if (!found) return null;
  const today = treatedToday(ctx).some(({ id }) => id === found.id);
  const words = today ? t("Today's treatment is done.") : t("The last treatment is done.");
  const another = () => begin(ctx);
  return [
    note(words, "plain", h("p", { text: toldOfDone(found) })),
    whyAsk(ctx).length ? null : bigButton(t("Begin another treatment"), another, { data: { k: "another" } }),
  ];
}

/** The phone's own clock is another than that of the screens: asked before anything is begun. @param {Ctx} ctx */
function elsewhere(ctx) {
  const clocks = twoClocks(ctx.kit, ctx.now());
  if (!clocks || plain("at_home_by") === clocks.own) return null;
  const notElsewhere = () => {
    setPlain("at_home_by", clocks.own);
    ctx.redraw();
  };
  return note(
    twoClocksWords(clocks),
    "care",
    bigButton(t("No, I am where the unit thinks"), notElsewhere, { data: { k: "not-elsewhere" } }),
  );
}

/** That there is no treatment today, as was said. @param {Ctx} ctx */
function leftOut(ctx) {
  const said = saidToday(ctx);
  return said && note(saidWords(said), "plain", h("a", { href: "#/nottonight" }, t("Take it back")));
}

function waiting() {
  const count = outbox.list().filter((each) => each.state !== "open").length;
  return count
    ? h(
        "a",
        { class: "notice care", href: "#/queue" },
        tn(
          "{n} waits on this phone for the unit. Touch to see.",
          "{n} wait on this phone for the unit. Touch to see.",
          count,
        ),
      )
    : null;
}

/** @param {Ctx} ctx */
function news(ctx) {
  const count = unseen(ctx.kit).length;
  return [
    changesUnread(ctx) &&
      bigButton(t("The prescription changed"), () => ctx.go("changes"), {
        tone: "care",
        hint: t("Read what, before you begin"),
        data: { k: "changes" },
      }),
    count > 0 &&
      bigButton(tn("{n} message from the unit", "{n} messages from the unit", count), () => ctx.go("messages"), {
        tone: "care",
        data: { k: "messages" },
      }),
  ];
}

/** Until somebody who has no treatment behind them has seen what this is and made the phone fit. @param {Ctx} ctx */
function welcome(ctx) {
  const begun = ctx.kit.history?.length || ctx.nights.some((night) => !night.practice);
  if (begun || plain("introduced") === ctx.kit.account.id) return null;
  return bigButton(t("Before your first treatment"), () => ctx.go("welcome"), {
    hint: t("How it works, the home screen, a PIN"),
    data: { k: "welcome" },
  });
}

/** @param {Ctx} ctx */
function draw(ctx) {
  if (!ctx.kit?.patient) return note(t("Nothing has come from the unit yet. Connect to the network once."), "care");
  const night = inHand(ctx);
  const state =
    night &&
    note(
      night.practice
        ? t("A practice is under way. It is no treatment: nobody at the unit sees it.")
        : night.doc.started_at
          ? t("A treatment is under way since {time}.", { time: timeOf(night.doc.started_at) })
          : t("A night is begun: {night}.", { night: nameOf(night) }),
    );
  const places = [
    bigButton(t("Past nights"), () => ctx.go("nights"), { data: { k: "nights" } }),
    bigButton(t("How it goes over time"), () => ctx.go("trends"), { data: { k: "trends" } }),
    bigButton(t("Paper and own data"), () => ctx.go("takeout"), { data: { k: "takeout" } }),
  ];
  return [
    waiting(),
    !night && elsewhere(ctx),
    !night && leftOut(ctx),
    !night && done(ctx),
    welcome(ctx),
    state,
    askFirst(ctx),
    noted(ctx),
    news(ctx),
    prescription(ctx),
    due(ctx),
    others(ctx),
    aside(ctx, night),
    unit(ctx),
    h("h2", { text: t("Look back") }),
    h("div", { class: "rows" }, places),
  ];
}

/** @param {Ctx} ctx */
function bar(ctx) {
  if (!ctx.kit?.patient) return [];
  const night = inHand(ctx);
  if (night) return [{ label: night.practice ? t("Go on practising") : t("Go on"), tap: () => goOn(ctx, night) }];
  if (runningBeside(ctx).length) return [{ label: t("A treatment runs already: look"), go: "second" }];
  if (whyAsk(ctx).length) return [callAction(ctx.kit.unit, "on_call")];
  const found = doneAlready(ctx);
  if (found) return [{ label: t("Look at the treatment that is done"), tap: () => look(ctx, found) }];
  return [{ label: t("Begin tonight's treatment"), tap: () => begin(ctx) }];
}

register("tonight", { title: () => t("Tonight"), draw, bar });
