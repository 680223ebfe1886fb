/* Events and symptoms: one large button each, stored at the touch, then the unit's own first-aid words. */

import { textField } from "../ask.js";
import { keepAwake } from "../awake.js";
import { callButtons } from "../calls.js";
import { cardOfEvent, uncheckedLine } from "../cards.js";
import { eventWords, kindsHere } from "../choices.js";
import { addEvent, limitsOf, setRow } from "../draft.js";
import { addressOf, hasFlow, lowWords, MOMENTS, moveTimes } from "../flow_state.js";
import { momentRow, pointTo, retime } from "../moment_row.js";
import { askPressure } from "../pressure.js";
import { go, register, replace } from "../router.js";
import { bigButton, h, note } from "../ui.js";
import { t } from "../words.js";
import { dropEvent, enter } from "./flow.js";

/** Most of what people feel comes first; what is rare and told by a card of its own comes last. */
const ORDER = [
  "hypotension",
  "cramp",
  "dizzy",
  "nausea",
  "headache",
  "fever_chills",
  "infiltration",
  "access_redness",
  "access_silent",
  "clotting",
  "machine_alarm",
  "bleeding",
];

/** What happened has a card: one step at a time, read aloud. @param {Ctx} ctx */
function toCard(ctx, kind) {
  const card = cardOfEvent(ctx.kit, kind);
  const open = () => go("danger", card?.kind);
  return card && bigButton(t("The card: {title}", { title: card.title }), open, { tone: "alarm", data: { k: "card" } });
}

/** @param {Ctx} ctx */
function kindsOf(ctx) {
  const known = kindsHere(ctx.kit);
  return [
    ...ORDER.filter((kind) => known.includes(kind)),
    ...known.filter((kind) => !ORDER.includes(kind) && kind !== "other"),
    "other",
  ];
}

/** What is noted before the treatment runs has no way to go on with it. @param {Ctx} ctx */
function store(ctx, kind) {
  if (ctx.night.doc.started_at && hasFlow(ctx.kit, kind)) return enter(ctx, kind);
  return ctx.change(eventWords(ctx.kit, kind), (night) =>
    pointTo(ctx, "event", addEvent(night, { kind, at: ctx.now().toISOString() })),
  );
}

/** @param {Ctx} ctx */
const grid = (ctx) =>
  h(
    "div",
    { class: "tiles" },
    kindsOf(ctx).map((kind) => bigButton(eventWords(ctx.kit, kind), () => store(ctx, kind), { data: { k: kind } })),
  );

const MOMENT_NAMES = () => ({ paused_at: t("Off since"), resumed_at: t("On again"), ended_at: t("End") });

/** The times of an event, each to be put right where it is wrong. @param {Ctx} ctx */
function times(ctx, index) {
  const event = ctx.night.doc.events[index];
  const others = MOMENTS.filter((name) => event[name]).map((name) =>
    momentRow(`event-${name}`, MOMENT_NAMES()[name], event[name], (iso) =>
      ctx.change(t("Time changed"), (night) => setRow(night, "events", index, { [name]: iso })),
    ),
  );
  const own = momentRow("event", t("Time"), event.at, (iso) =>
    ctx.change(t("Time changed"), (night) => {
      setRow(night, "events", index, moveTimes(event, iso));
      pointTo(ctx, "event", retime(night, "events", index, iso));
    }),
  );
  return others.length ? h("div", { class: "pair" }, own, others) : own;
}

/** What first aid asks to be measured is noted with it. @param {Ctx} ctx */
function pressure(ctx, index) {
  const { systolic, diastolic } = ctx.night.doc.events[index];
  const measure = async () => {
    const measured = await askPressure(ctx, "events");
    if (!measured) return;
    ctx.change(measured.said, (night) =>
      setRow(night, "events", index, { systolic: measured.systolic, diastolic: measured.diastolic }),
    );
  };
  const low = lowWords(ctx, systolic);
  const value = `${systolic}/${diastolic ?? "–"} ${limitsOf(ctx.kit, "events.systolic")?.unit ?? ""}`;
  return [
    low ? note(low, "care") : null,
    bigButton(systolic == null ? t("Enter the blood pressure") : t("Blood pressure: {value}", { value }), measure, {
      hint: systolic == null ? null : t("Touch to change"),
      data: { k: "measure" },
    }),
  ];
}

/** @param {Ctx} ctx */
function draw(ctx, [given]) {
  if (!ctx.night) return note(t("No treatment is open."));
  keepAwake(true);
  const index = Number(given);
  const event = given != null && ctx.night.doc.events[index];
  if (!event) return grid(ctx);
  const aid = ctx.kit.first_aid?.[event.kind];
  return [
    ctx.night.doc.started_at && hasFlow(ctx.kit, event.kind)
      ? bigButton(t("What to do now, step by step"), () => replace("flow", ...addressOf(event)), {
          tone: "danger",
          data: { k: "flow" },
        })
      : null,
    times(ctx, index),
    aid ? note(aid, "care") : null,
    aid ? uncheckedLine(ctx.kit, !ctx.kit.first_aid_unchecked?.includes(event.kind)) : null,
    toCard(ctx, event.kind),
    ...pressure(ctx, index),
    textField(ctx, `events[${index}].note`, t("What happened, what was done"), {
      hint: t("Read when the unit looks through it, not now."),
    }),
    ...callButtons(ctx.kit.unit, "on_call"),
  ].filter(Boolean);
}

/** @param {Ctx} ctx */
const titleOf = (ctx, [given]) => {
  const event = given != null && ctx.night?.doc.events[Number(given)];
  return event ? eventWords(ctx.kit, event.kind) : t("What is it?");
};

/** @param {Ctx} ctx */
function bar(ctx, [given]) {
  if (!ctx.night) return [{ label: t("Tonight"), go: "tonight" }];
  const index = given != null && ctx.night.doc.events[Number(given)] ? Number(given) : null;
  const away = ctx.night.doc.started_at ? { go: "running" } : { tap: ctx.back };
  if (index == null) return [{ label: t("Nothing: back"), ...away, tone: "plain" }];
  return [
    { label: t("Done"), ...away },
    { label: t("Remove this event"), tap: () => dropEvent(ctx, index) },
  ];
}

register("event", { title: titleOf, draw, bar });
