/*
 * “Something is wrong”: the unit's own cards, offline and at once, with a call button. Reading one notes nothing: that
 * it happened is a touch of its own, which puts time and cause into the record.
 */

import { keepAwake } from "./awake.js";
import { callAction } from "./calls.js";
import { isLive, removeRow, setRow } from "./draft.js";
import { go, register } from "./router.js";
import { bigButton, choiceRow, h, note } from "./ui.js";
import { t, timeOf } from "./words.js";

const AGAIN_AFTER = 5 * 60_000;
const CALL_UNIT = new Set(["machine_alarm", "power_water"]);

/** What stands here when the unit's cards are not on the phone: usual cautions, common practice, no source. */
const fallback = () => {
  const call = t("Call the emergency number.");
  const card = (kind, event_kind, title, ...lines) => ({
    kind,
    event_kind,
    title,
    lines: [...lines, t("What your training says comes first.")],
  });
  return [
    card(
      "needle_out",
      "needle_dislodged",
      t("Needle out, or blood on the sheet"),
      t("Stop the blood pump."),
      t("Clamp the lines."),
      t("Press firmly where the needle was."),
      call,
    ),
    card(
      "air",
      "air",
      t("Air in the line"),
      t("Clamp the venous line and stop the blood pump."),
      t("Lie on your left side, head low."),
      call,
    ),
    card(
      "chest_pain",
      "chest_pain",
      t("Chest pain, or short of breath"),
      call,
      t("Turn the fluid removal (UF) off."),
      t("Stop the treatment as you were trained."),
    ),
    card(
      "faint",
      "fainted",
      t("Faint, or about to faint"),
      t("Turn the fluid removal (UF) off."),
      t("Lie flat, head low, legs up."),
      t("Give saline only as you were trained."),
      t("Not better at once, or nobody answers: call the emergency number."),
    ),
    card(
      "machine_alarm",
      "machine_alarm",
      t("A machine alarm that stays"),
      t("Look first: both needles, a wet sheet, kinks, clamps."),
      t("Never silence an alarm that you do not understand."),
      t("It stays: stop the treatment as you were trained, and call the unit."),
    ),
    card(
      "power_water",
      "power_failure",
      t("Power or water has failed"),
      t("Blood must not stand still in the lines."),
      t("Return the blood by hand only if you were trained to, else clamp the lines and come off."),
      t("Call the unit."),
    ),
  ];
};

/** @param {Kit} kit */
const cardsOf = (kit) => (kit?.cards?.length ? kit.cards : fallback());
/** @param {Ctx} ctx @param {string[]} params */
const cardOf = (ctx, [kind]) => cardsOf(ctx.kit).find((card) => card.kind === kind);

/** Power and water share a card; the record tells them apart. */
const kindsOf = (card) => (card.kind === "power_water" ? ["power_failure", "water_failure"] : [card.event_kind]);

/** What was noted of it last: in the record in hand, else on the phone; {row, index}. @param {Ctx} ctx */
function notedOf(ctx, card) {
  const rows = isLive(ctx.night) ? ctx.night.doc.events : ctx.jotted();
  const index = rows.findLastIndex((event) => kindsOf(card).includes(event.kind));
  return { row: rows[index] ?? null, index };
}

/** @param {Ctx} ctx */
function list(ctx) {
  const open = (card) =>
    bigButton(card.title, () => go("danger", card.kind), { tone: "alarm", data: { k: card.kind } });
  return [h("div", { class: "alarms" }, cardsOf(ctx.kit).map(open)), otherCall(ctx, null)];
}

const firstCall = (card) => (CALL_UNIT.has(card?.kind) ? "on_call" : "emergency");

/** The number that is not under the thumb; without any, what to do. @param {Ctx} ctx */
function otherCall(ctx, card) {
  const { emergency_number: emergency, on_call_number: onCall } = ctx.kit?.unit ?? {};
  if (!emergency && !onCall)
    return note(t("The unit's numbers are not on this phone. Call your local emergency number."), "care");
  const other = callAction(ctx.kit.unit, firstCall(card) === "emergency" ? "on_call" : "emergency");
  return (
    other &&
    h("a", { class: "big plain", href: other.href }, h("span", { text: other.label }), h("small", { text: other.hint }))
  );
}

/** @param {Ctx} ctx */
function which(ctx, index) {
  const options = [
    { value: "power_failure", label: t("Power") },
    { value: "water_failure", label: t("Water") },
  ];
  const pick = (kind) => ctx.change(t("Cause changed"), (night) => setRow(night, "events", index, { kind }));
  return choiceRow(t("What has failed?"), options, ctx.night.doc.events[index].kind, pick);
}

/** A card may be read at any time; only this touch says that it happened. @param {Ctx} ctx */
const happened = (ctx, card) =>
  bigButton(
    t("This happened: note it"),
    () => {
      ctx.jot({ kind: card.event_kind, at: ctx.now().toISOString() });
      ctx.redraw();
    },
    { tone: "care", hint: t("The card alone notes nothing. Your unit sees what you note."), data: { k: "happened" } },
  );

/** Takes back that something happened. @param {() => void} back @param {string} k */
export const notSo = (back, k) => bigButton(t("It did not happen: take it back"), back, { data: { k } });

/** @param {Ctx} ctx */
function inRecord(ctx, card, { row, index }) {
  const back = () => ctx.change(t("Taken back"), (night) => removeRow(night, "events", index));
  return [
    note(t("Noted in the record at {time}.", { time: timeOf(row.at) })),
    card.kind === "power_water" ? which(ctx, index) : null,
    bigButton(t("Write what happened"), () => go("event", index), { data: { k: "write" } }),
    notSo(back, "take-back"),
  ];
}

/** @param {Ctx} ctx */
function onPhone(ctx, { row }) {
  const words = t("Noted on this phone at {time}. It goes into the record that is begun next.", {
    time: timeOf(row.at),
  });
  const begin = () => {
    ctx.begin();
    ctx.redraw();
  };
  return [
    note(words),
    ctx.gate === "open" && ctx.kit?.patient
      ? bigButton(t("Begin a record with it now"), begin, { data: { k: "begin" } })
      : null,
    notSo(() => ctx.unjot(row), "take-back"),
  ];
}

/** @param {Ctx} ctx */
function recordWords(ctx, card) {
  if (!card.event_kind) return [];
  const noted = notedOf(ctx, card);
  const fresh = noted.row && ctx.now().getTime() - Date.parse(noted.row.at) < AGAIN_AFTER;
  return [
    fresh ? null : happened(ctx, card),
    noted.row && (isLive(ctx.night) ? inRecord(ctx, card, noted) : onPhone(ctx, noted)),
  ];
}

/** @param {Ctx} ctx */
function draw(ctx, params) {
  keepAwake(true);
  const card = cardOf(ctx, params);
  if (!card) return list(ctx);
  return [
    h(
      "ol",
      { class: "card-lines" },
      card.lines.map((text) => h("li", { text })),
    ),
    otherCall(ctx, card),
    ...recordWords(ctx, card),
    elsewhere(),
  ];
}

const elsewhere = () => bigButton(t("Something else is wrong"), () => go("danger"), { data: { k: "elsewhere" } });

/** @param {Ctx} ctx */
function bar(ctx, params) {
  const card = cardOf(ctx, params);
  const away =
    ctx.night?.doc.started_at && ctx.gate === "open"
      ? { label: t("Back to the treatment"), go: "running" }
      : { label: t("Back"), go: "tonight" };
  return [callAction(ctx.kit?.unit, firstCall(card)), { ...away, tone: "plain" }];
}

register("danger", { title: (ctx, params) => cardOf(ctx, params)?.title ?? t("Something is wrong"), draw, bar });
