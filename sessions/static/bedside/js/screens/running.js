/* The treatment runs: how far it is, what is due, how much fluid is off, and the way to everything that can happen. */

import { canStayAwake, keepAwake, wasRefused } from "../awake.js";
import { callButtons } from "../calls.js";
import { eventWords } from "../choices.js";
import { course, fluidSoFar, MISSED, minuteOf } from "../course.js";
import { addEvent, limitsOf, removeRow, setFields, shortOf, stampStep } from "../draft.js";
import { addressOf, DROP, hasFlow, indexAt, overBy, pausedNow, toldOf, underWay, write } from "../flow_state.js";
import { heparinStop, heparinTonight, STOPPED } from "../heparin.js";
import { momentRow, pointTo } from "../moment_row.js";
import { ofCatheter } from "../needle_sites.js";
import { notAtEndNotes } from "../not_at_end.js";
import { inWords, withUnit } from "../numbers.js";
import { endedWords, writtenBy } from "../others.js";
import { litresWords, orderedWords, planWords } from "../plan_words.js";
import { coded, say, wordsOf } from "../ready.js";
import { canShake, canSound, forget, remindAt, tryButton } from "../reminders.js";
import { go, register } from "../router.js";
import { stopNotes } from "../stops.js";
import { announce, bigButton, choiceRow, dl, h, note } from "../ui.js";
import { plain, setPlain } from "../vault.js";
import { fmt, hours, t, timeOf, tn } from "../words.js";
import { armWait, enter } from "./flow.js";

const EVERY = 15_000;
const WAS_MISSED = "reading_missed";
const preferences = () => ({ screen: true, remind: true, ...plain("running") });

/* What is shown ------------------------------------------------------------------------------------ */

/** What is to come off, and what the machine was set to: in sight for as long as it runs. @param {Ctx} ctx */
function toTakeOff(ctx) {
  const { set_uf_l: set } = ctx.night.doc;
  const plan = planWords(ctx);
  return [
    plan ? t("To take off: {plan}", { plan }) : t("To take off: not worked out tonight"),
    set == null ? t("not noted as set on the machine") : t("set on the machine: {value}", { value: litresWords(set) }),
  ].join(" · ");
}

/** @param {Ctx} ctx */
function clockOf(ctx) {
  const now = course(ctx.night, ctx.kit, ctx.now());
  const over = now.left != null && now.left < 0;
  const left = over
    ? t("{time} h over the planned time", { time: hours(-(now.left ?? 0)) })
    : t("{time} h left, until {end}", { time: hours(now.left ?? 0), end: timeOf(now.endsAt) });
  const rest = now.left == null ? t("no length prescribed") : left;
  return h(
    "div",
    { class: `clock${over ? " over" : ""}` },
    h("p", { class: "figure" }, hours(now.minutes), h("span", { class: "unit", text: ` ${t("h running")}` })),
    h("p", { text: rest }),
    h("p", { class: "to-take-off", text: toTakeOff(ctx) }),
  );
}

/**
 * Past the planned end: since when, what is allowed at most, and an old last reading, for whoever goes on.
 * @param {Ctx} ctx
 */
function overOf(ctx, { endsAt, minutes, stale }) {
  const most = ctx.kit.prescription?.max_minutes;
  const beyond = most && minutes > most;
  const old = stale && t("The last reading is from {time}: take one if you go on.", { time: timeOf(stale) });
  return [
    note(
      t("The planned time is over since {time}. Finish, or go on as your unit taught you.", { time: timeOf(endsAt) }),
      "care",
      old && h("p", { text: old }),
    ),
    beyond &&
      note(
        t("Longer than the {time} h that your prescription allows at most.", { time: hours(most) }),
        "care",
        ...callButtons(ctx.kit.unit, "on_call"),
      ),
  ].filter(Boolean);
}

/** When readings are taken, in the words of the prescription. @param {Ctx} ctx */
function readingsLine(ctx) {
  const words = ctx.kit.prescription?.lines?.readings;
  return words ? h("p", { class: "soft", text: t("Readings: {when}.", { when: words }) }) : null;
}

/** @param {Ctx} ctx */
function dueOf(ctx) {
  const now = course(ctx.night, ctx.kit, ctx.now());
  const { due, late } = now;
  if (now.over) return overOf(ctx, now);
  if (!due) return note(t("No further reading is due."), "plain", readingsLine(ctx));
  if (late) {
    const missed = () =>
      ctx.change(t("Reading of {time} missed", { time: timeOf(due) }), (night) =>
        stampStep(night, MISSED, coded(WAS_MISSED), due),
      );
    return note(
      tn("Reading due for {n} minute.", "Reading due for {n} minutes.", late),
      "care",
      bigButton(t("It was missed: go on from here"), missed, { data: { k: "missed" } }),
    );
  }
  const minutes = Math.ceil((Date.parse(due) - ctx.now().getTime()) / 60_000);
  const next = t("Next reading at {time}, in {left} h.", { time: timeOf(due), left: hours(minutes) });
  return note(next, "plain", readingsLine(ctx));
}

/** @param {Ctx} ctx */
function facts(ctx) {
  const fluid = fluidSoFar(ctx.night, ctx.kit, ctx.now());
  const plan = fluid.plan == null ? "" : ` ${t("of {plan}", { plan: withUnit(fluid.plan, "L") })}`;
  return dl([
    [
      t("Fluid off so far"),
      fluid.now == null ? t("no reading yet") : `${withUnit(fluid.now, "L")}${plan}, ${timeOf(fluid.at)}`,
    ],
    fluid.byClock == null
      ? null
      : [t("By the clock, if even"), t("about {value}", { value: `${fmt(fluid.byClock, 1)} L` })],
    ...heparinTonight(ctx).map(({ kind, given }) => [kind.label, given ? givenWords(ctx, given) : t("not noted")]),
    heparinLine(ctx),
    temperatureLine(ctx),
  ]);
}

/** The temperature of the dialysate where another one was noted as set. @param {Ctx} ctx */
function temperatureLine(ctx) {
  const [path, set] = ["set_temperature_c", ctx.night.doc.set_temperature_c];
  if (set == null) return null;
  const words = [inWords(limitsOf(ctx.kit, path), set), orderedWords(ctx, path)];
  return [shortOf(ctx.kit, path), words.filter(Boolean).join(", ")];
}

/** @param {Ctx} ctx */
function givenWords(ctx, given) {
  const amount = given.amount == null ? "" : `${withUnit(given.amount, wordsOf(ctx.kit, given.unit))}, `;
  return `${amount}${timeOf(given.at)}`;
}

/** @param {Ctx} ctx */
function heparinLine(ctx) {
  const { due, stopped } = heparinStop(ctx);
  if (stopped) return [t("Heparin off"), t("stopped at {time}", { time: timeOf(stopped) })];
  return due ? [t("Heparin off"), t("at {time}", { time: timeOf(due) })] : null;
}

/** From the moment on at which the heparin is to stop: that it was. @param {Ctx} ctx */
function heparinDue(ctx) {
  const { due, stopped } = heparinStop(ctx);
  if (!due || stopped || Date.parse(due) > ctx.now().getTime()) return null;
  const stop = () =>
    ctx.change(say(ctx.kit, STOPPED), (night) => stampStep(night, STOPPED, coded(STOPPED), ctx.now().toISOString()));
  return note(
    t("Heparin is to stop since {time}.", { time: timeOf(due) }),
    "care",
    bigButton(t("Heparin is stopped now"), stop, { data: { k: "heparin-off" } }),
  );
}

/** The four numbers of a reading that people look back for, in one line. @param {any} reading */
function short({ venous_mmhg: venous, arterial_mmhg: arterial, qb_ml_min: qb, systolic, diastolic }) {
  return [
    venous != null && t("V {n}", { n: fmt(venous) }),
    arterial != null && t("A {n}", { n: fmt(arterial) }),
    qb != null && t("Qb {n}", { n: fmt(qb) }),
    systolic != null && t("BP {n}", { n: `${fmt(systolic)}/${fmt(diastolic)}` }),
  ]
    .filter(Boolean)
    .join(" · ");
}

/**
 * A drop of the pressure is noted at the touch; its way follows where the unit's steps are on the phone.
 * @param {Ctx} ctx
 */
function dropped(ctx) {
  if (hasFlow(ctx.kit, DROP)) return enter(ctx, DROP);
  return ctx.change(t("Blood pressure drop"), (night) =>
    pointTo(ctx, "event", addEvent(night, { kind: DROP, at: ctx.now().toISOString() })),
  );
}

/** @param {Ctx} ctx */
const onAgain = (ctx, event) =>
  ctx.change(t("Fluid removal is on again"), (night) =>
    write(night, indexAt(night, addressOf(event)), ["resume"], ctx.now().toISOString()),
  );

/** What is on its way, and what is still off: the way back to it stands above everything else. @param {Ctx} ctx */
function trouble(ctx) {
  for (const index of underWay(ctx)) armWait(ctx, ctx.night.doc.events[index]);
  const left = pausedNow(ctx.night).filter((event) => event.outcome && event.kind === DROP);
  return [
    ...notAtEndNotes(ctx),
    ...left.map((event) =>
      note(
        t("Fluid removal is off since {time}.", { time: timeOf(event.paused_at) }),
        "care",
        bigButton(t("Fluid removal is on again"), () => onAgain(ctx, event), { data: { k: "on-again" } }),
      ),
    ),
  ];
}

/** Everything of tonight in order of time, each to be touched and corrected. @param {Ctx} ctx */
function happened(ctx) {
  const { readings, events, medicines, steps } = ctx.night.doc;
  const unmiss = (index) => ctx.change(t("Missed reading taken back"), (night) => removeRow(night, "steps", index));
  const from = (row) => writtenBy(ctx, row);
  const rows = [
    ...readings.map((row, index) => [row.at, t("Reading"), [short(row), from(row)], () => go("reading", index)]),
    ...events.map((row, index) => [
      row.at,
      eventWords(ctx.kit, row.kind),
      [...toldOf(ctx.kit, row), wordsOf(ctx.kit, row.note), from(row)],
      () => (hasFlow(ctx.kit, row.kind) ? go("flow", ...addressOf(row)) : go("event", index)),
    ]),
    ...medicines.map((row, index) => [
      row.at,
      wordsOf(ctx.kit, row.name),
      [row.amount == null ? "" : withUnit(row.amount, wordsOf(ctx.kit, row.unit)), from(row)],
      () => go("medicine", index),
    ]),
    ...steps
      .map((row, index) => [row.at, say(ctx.kit, WAS_MISSED), t("touch to take back"), () => unmiss(index), row.key])
      .filter((row) => row[4] === MISSED),
  ].sort(([one], [other]) => (one < other ? 1 : -1));
  if (!rows.length) return null;
  return h(
    "section",
    null,
    h("h2", { text: t("So far") }),
    rows.map(([at, name, words, act], index) =>
      bigButton(`${timeOf(at)} ${name}`, act, {
        hint: [words].flat().filter(Boolean).join(" · ") || null,
        data: { k: `row-${index}` },
      }),
    ),
  );
}

/* Reminders ---------------------------------------------------------------------------------------- */

/** What a running treatment reminds of: [name, when (ISO or null), words]. @param {Ctx} ctx */
function reminders(ctx) {
  if (overBy(ctx.night)) return [];
  const { due, endsAt } = course(ctx.night, ctx.kit, ctx.now());
  const heparin = heparinStop(ctx);
  return [
    ["reading", due, t("A reading is due.")],
    ["heparin", heparin.stopped ? null : heparin.due, t("Heparin is to stop now.")],
    ["end", endsAt, t("The planned time is over.")],
  ];
}

/** @param {Ctx} ctx */
function arm(ctx) {
  for (const [name, at, words] of reminders(ctx)) armOne(ctx, name, at, words);
}

/** @param {Ctx} ctx */
function armOne(ctx, name, at, words) {
  if (!preferences().remind || !at) return forget(name);
  const isStillDue = () =>
    ctx.night?.stage === "running" && reminders(ctx).some(([each, when]) => each === name && when === at);
  const tell = () => {
    announce(words);
    ctx.redraw();
  };
  return remindAt(name, at, tell, { isStillDue });
}

/** Drawn anew after each choice, it stays open. */
let reminderOpen = false;

const darkWords = () =>
  canStayAwake()
    ? t("The phone does not let the screen stay on just now, perhaps to save power. It goes dark by itself.")
    : t("This browser cannot keep the screen on. Set the phone's own time until it goes dark to a longer one.");

/** @param {Ctx} ctx */
function reminderSet(ctx) {
  const set = (name) => (value) => {
    setPlain("running", { ...preferences(), [name]: value });
    keepAwake(preferences().screen).then(ctx.redraw);
    ctx.redraw();
  };
  const [on, off] = [
    { value: true, label: t("On") },
    { value: false, label: t("Off") },
  ];
  const able =
    [canSound() && t("sound"), canShake() && t("vibration")].filter(Boolean).join(", ") || t("nothing but this page");
  return h(
    "details",
    {
      class: "other",
      open: reminderOpen,
      on: {
        toggle: ({ target }) => {
          reminderOpen = target.open;
        },
      },
    },
    h("summary", { text: t("Reminder and screen") }),
    note(
      t(
        "A reminder only, no alarm: it works while this page is open and the phone is awake, and it can fail. " +
          "Nobody watches you. This phone can give: {able}.",
        { able },
      ),
    ),
    choiceRow(t("Remind of readings, heparin off and the planned end"), [on, off], preferences().remind, set("remind")),
    tryButton(),
    canStayAwake() && choiceRow(t("Keep the screen on"), [on, off], preferences().screen, set("screen")),
    preferences().screen && (wasRefused() || !canStayAwake()) && note(darkWords(), "care"),
  );
}

/* The screen --------------------------------------------------------------------------------------- */

/** @param {Ctx} ctx @param {Iso} iso */
const startAt = (ctx, iso) =>
  ctx.change(t("Start: {time}", { time: timeOf(iso) }), (night) => {
    setFields(night, { started_at: iso });
    if (night.stage === "before") night.stage = "running";
  });

/** @param {Ctx} ctx */
const isOver = (ctx) => course(ctx.night, ctx.kit, ctx.now()).over;

/** @param {Ctx} ctx */
function live(ctx) {
  const box = h("div", { class: "live" });
  const paint = () =>
    box.replaceChildren(
      ...[clockOf(ctx), dueOf(ctx), heparinDue(ctx), facts(ctx)].flat().filter((each) => each !== null),
    );
  paint();
  const over = isOver(ctx);
  const timer = setInterval(() => {
    if (!box.isConnected) clearInterval(timer);
    else if (isOver(ctx) !== over)
      ctx.redraw(); // the main action under the thumb is another one now
    else if (!box.contains(document.activeElement)) paint();
  }, EVERY);
  return box;
}

/** @param {Ctx} ctx */
function draw(ctx) {
  const { night } = ctx;
  if (!night) return note(t("No treatment is open."));
  if (!night.doc.started_at) {
    return [
      stopNotes(ctx),
      note(t("The treatment has not been started on this phone.")),
      bigButton(t("It runs already: started now"), () => startAt(ctx, minuteOf(ctx.now())), { data: { k: "started" } }),
    ];
  }
  const over = endedWords(ctx);
  if (over) return [over, night.doc.ended_at ? null : notAtEndNotes(ctx), happened(ctx)].filter(Boolean);
  keepAwake(preferences().screen && !course(night, ctx.kit, ctx.now()).asleep);
  arm(ctx);
  return [
    stopNotes(ctx),
    trouble(ctx),
    live(ctx),
    h("div", { class: "tiles" }, [
      bigButton(t("Blood pressure drop"), () => dropped(ctx), { data: { k: "to-drop" } }),
      bigButton(t("Event or symptom"), () => go("event"), { data: { k: "to-event" } }),
      bigButton(t("Medicine"), () => go("medicine"), { data: { k: "to-medicine" } }),
    ]),
    happened(ctx),
    reminderSet(ctx),
    h(
      "details",
      { class: "other" },
      h("summary", { text: t("Correct the start") }),
      momentRow("start", t("Started"), night.doc.started_at, (iso) => startAt(ctx, iso)),
    ),
  ].filter(Boolean);
}

/** @param {Ctx} ctx */
function bar(ctx) {
  const { night } = ctx;
  if (!night) return [{ label: t("Tonight"), go: "tonight" }];
  if (!night.doc.started_at)
    return [{ label: ofCatheter(ctx) ? t("To the steps") : t("To the needles"), go: "needles" }];
  if (night.stage === "handed") return [{ label: t("Tonight"), go: "tonight" }];
  if (night.doc.ended_at) return [{ label: t("Finish"), go: "finish" }];
  const [reading, finish] = [
    { label: t("Reading"), go: "reading" },
    { label: t("Finish"), go: "finish" },
  ];
  if (overBy(night))
    return [
      { label: t("To the end of the treatment"), go: "finish" },
      { ...reading, tone: "plain" },
    ];
  return isOver(ctx) ? [finish, { ...reading, tone: "plain" }] : [reading, finish];
}

/** @param {Ctx} ctx */
function titleOf({ night }) {
  if (night?.doc.ended_at) return t("The treatment has ended");
  if (night && overBy(night)) return t("The treatment is over");
  const stands = night && pausedNow(night).some((event) => event.kind !== DROP);
  return stands ? t("The blood pump is stopped") : t("Treatment is running");
}

register("running", { title: titleOf, draw, bar });
