/*
 * “Something is wrong”: the unit's own cards, offline and at once, with a call button; one step at a time, read aloud
 * where the phone can. Reading one notes nothing: that it happened is a touch of its own, which puts time and cause
 * into the record.
 */

import { aloudButton, stepCame } from "./aloud.js";
import { keepAwake } from "./awake.js";
import { callAction } from "./calls.js";
import { cardOf, textsOf, uncheckedLine } from "./cards.js";
import { eventWords } from "./choices.js";
import { isLive, removeRow } from "./draft.js";
import { addressOf, begin, hasFlow } from "./flow_state.js";
import { fetchRest, go, register, visit } from "./router.js";
import { stepTaken, stepUndone } from "./step_back.js";
import { bigButton, h, note } from "./ui.js";
import { getOpen } from "./vault.js";
import { t, timeOf } from "./words.js";

const AGAIN_AFTER = 5 * 60_000;
/** Which step of which card is in sight on this visit. */
const reading = { kind: "", visit: -1, step: 0 };
/** @type {{address?: string, door?: string} | null} Where the phone lives, as its owner wrote it. */
let home = null;

/** What was noted of a card last: in the record in hand, else on the phone; {row, index}. @param {Ctx} ctx */
function notedOf(ctx, card) {
  const rows = isLive(ctx.night) ? ctx.night.doc.events : ctx.jotted();
  const index = rows.findLastIndex((event) => card.events.includes(event.kind));
  return { row: rows[index] ?? null, index };
}

/** The cards under their headings. @param {Ctx} ctx */
function list(ctx) {
  const texts = textsOf(ctx.kit);
  const open = (card) =>
    bigButton(card.title, () => go("danger", card.kind), { tone: "alarm", data: { k: card.kind } });
  const call = otherCall(ctx, null);
  if (!texts) return [call, note(t("The cards are not on this phone yet."), "care")];
  const groups = Object.entries(texts.on_each_card.groups).map(([group, words]) => [
    h("h2", { text: words }),
    h("div", { class: "alarms" }, [
      ...texts.cards.filter((card) => card.group === group).map(open),
      group === CLOTTED.group && clottedEntry(ctx),
    ]),
  ]);
  return [call, ...groups, ctx.gate === "open" && isLive(ctx.night) ? toEvents() : null];
}

/** What has no card, also before the treatment runs: a cramp, a headache. */
const toEvents = () => bigButton(t("Event or symptom"), () => go("event"), { data: { k: "to-event" } });

/** Blood that clots has steps and first aid, and no card. */
const CLOTTED = { kind: "clotting", group: "blood" };

/** Its steps where a treatment runs, else its first aid; nothing where the phone has neither. @param {Ctx} ctx */
function clottedEntry(ctx) {
  const { kind } = CLOTTED;
  const runs = ctx.gate === "open" && isLive(ctx.night) && ctx.night.doc.started_at && hasFlow(ctx.kit, kind);
  if (!runs && !ctx.kit?.first_aid?.[kind]) return null;
  return bigButton(eventWords(ctx.kit, kind), () => (runs ? clotted(ctx) : go("danger", kind)), {
    tone: "alarm",
    data: { k: kind },
  });
}

/** @param {Ctx} ctx */
function clotted(ctx) {
  /** @type {string[]} */
  let address = [];
  ctx.change(eventWords(ctx.kit, CLOTTED.kind), (night) => {
    address = addressOf(begin(ctx, night, CLOTTED.kind));
  });
  go("flow", ...address);
}

/** Its first aid, on a phone that is locked or has no treatment under way. @param {Ctx} ctx */
const clottedAid = (ctx) => [
  h("p", { class: "step-words", text: ctx.kit?.first_aid?.[CLOTTED.kind] ?? "" }),
  uncheckedLine(ctx.kit, !ctx.kit?.first_aid_unchecked?.includes(CLOTTED.kind)),
  otherCall(ctx, null),
  bigButton(t("Something else is wrong"), () => go("danger"), { data: { k: "elsewhere" } }),
];

const firstCall = (card) => card?.first ?? "emergency";

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

/* One step after the other -------------------------------------------------------------------------- */

/** @param {Ctx} ctx */
function showStep(ctx, card, step) {
  reading.step = Math.max(0, Math.min(step, card.now.length - 1));
  stepCame(card.now[reading.step]);
  ctx.redraw();
}

/** @param {Ctx} ctx */
function nextStep(ctx, card, step) {
  showStep(ctx, card, step + 1);
  stepTaken(() => showStep(ctx, card, step));
}

/** @param {Ctx} ctx */
function stepBefore(ctx, card, step) {
  stepUndone();
  showStep(ctx, card, step - 1);
}

/** The step of the moment in large letters, the way to the next, and to the one before. @param {Ctx} ctx */
function oneStep(ctx, card) {
  const { step } = reading;
  const last = step === card.now.length - 1;
  const count = t("{n} of {all}", { n: String(step + 1), all: String(card.now.length) });
  return [
    h(
      "div",
      { class: "steps" },
      h(
        "p",
        { class: "step-words now-step", role: "status" },
        h("small", { class: "step-count", text: count }),
        " ",
        card.now[step],
      ),
      last ? null : h("p", { class: "then-step", text: t("Then: {step}", { step: card.now[step + 1] }) }),
    ),
    h(
      "div",
      { class: "step-moves" },
      last ? null : bigButton(t("Next step"), () => nextStep(ctx, card, step), { tone: "go", data: { k: "next" } }),
      step ? bigButton(t("Step before"), () => stepBefore(ctx, card, step), { data: { k: "before" } }) : null,
      aloudButton(ctx, card.now[step]),
    ),
  ];
}

/** A part of the card under its heading; nothing where it says nothing. */
const part = (heading, lines, names = "") =>
  lines.length
    ? h(
        "section",
        { class: `card-part ${names}` },
        h("h2", { text: heading }),
        h(
          "ul",
          null,
          lines.map((text) => h("li", { text })),
        ),
      )
    : null;

/** All of the card, one under the other. @param {Ctx} ctx */
function whole(ctx, card, { headings, ...each }) {
  const steps = h(
    "ol",
    { class: "card-lines" },
    card.now.map((text) => h("li", { text })),
  );
  const helper = part(headings.helper, card.helper, "helper");
  const first = ctx.kit?.account?.role === "care_partner";
  return [
    uncheckedLine(ctx.kit, Boolean(card.checked)),
    first ? helper : null,
    part(headings.never, card.never, "never"),
    part(headings.call, card.call),
    otherCall(ctx, card),
    first ? null : helper,
    part(headings.say, sayings(ctx, card, each), "say"),
    ctx.gate === "open"
      ? bigButton(home?.address ? t("Change address and door") : t("Write down address and door"), () => go("home"), {
          data: { k: "home" },
        })
      : null,
    h("section", { class: "card-part" }, h("h2", { text: t("All steps") }), steps),
    h("p", { class: "unchecked", text: [card.own, each.training].filter(Boolean).join(" ") }),
  ];
}

/**
 * What to say on the telephone; the address is the phone's owner's. Of allergies and dangers only an open phone tells.
 * @param {Ctx} ctx @param {EmergencyCard} card @param {{[name: string]: any}} each
 */
function sayings(ctx, card, { say_first: about, say_address: address, say_door: door }) {
  const where = [`${address} ${home?.address || "…"}`, `${door} ${home?.door || "…"}`];
  return [about, card.say, ...(ctx.kit?.patient?.cautions ?? []), ...where, card.alone].filter(Boolean);
}

/** Cards to open instead, or next. @param {Ctx} ctx */
function others(ctx, card, headings) {
  const found = card.see.map((kind) => cardOf(ctx.kit, kind)).filter((each) => each !== null);
  if (!found.length) return null;
  const open = (other) => bigButton(other.title, () => go("danger", other.kind), { data: { k: `see/${other.kind}` } });
  return h("section", { class: "card-part see" }, h("h2", { text: headings.see }), h("div", null, found.map(open)));
}

/* Into the record ----------------------------------------------------------------------------------- */

/** A card may be read at any time; only this touch says that it happened, and what. @param {Ctx} ctx */
function happened(ctx, card) {
  const jot = (kind) => () => {
    ctx.jot({ kind, at: ctx.now().toISOString() });
    ctx.redraw();
  };
  const hint = t("The card alone notes nothing. Your unit sees what you note. This does not call anybody.");
  const [one, ...more] = card.events;
  if (!more.length) return bigButton(t("This happened: note it"), jot(one), { hint, data: { k: "happened" } });
  const named = (kind) =>
    bigButton(t("Happened: {what}", { what: ctx.kit?.event_kinds?.[kind] ?? kind.replaceAll("_", " ") }), jot(kind), {
      data: { k: `happened/${kind}` },
    });
  return [...card.events.map(named), h("p", { text: hint })];
}

/** Takes back that something happened. @param {() => void} back @param {string} k */
export const notSo = (back, k) => bigButton(t("It did not happen: take it back"), back, { data: { k } });

/** @param {Ctx} ctx */
function inRecord(ctx, { row, index }) {
  const back = () => ctx.change(t("Taken back"), (night) => removeRow(night, "events", index));
  const steps = () => go("flow", ...addressOf(row));
  return [
    note(t("Noted in the record at {time}. This does not call anybody.", { time: timeOf(row.at) })),
    ctx.night.doc.started_at && hasFlow(ctx.kit, row.kind)
      ? bigButton(t("What to do now, step by step"), steps, { tone: "danger", data: { k: "flow" } })
      : null,
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
  const noted = notedOf(ctx, card);
  const fresh = noted.row && ctx.now().getTime() - Date.parse(noted.row.at) < AGAIN_AFTER;
  return [
    fresh ? null : happened(ctx, card),
    noted.row && (isLive(ctx.night) ? inRecord(ctx, noted) : onPhone(ctx, noted)),
  ];
}

/** Cards that are not here yet come with the other screens, the address out of the phone's storage. @param {Ctx} ctx */
function fetchMissing(ctx) {
  if (!textsOf(ctx.kit)) fetchRest().then(ctx.redraw, () => {});
  if (home) return;
  home = {};
  getOpen("home")?.then((kept) => {
    if (!kept) return;
    home = kept;
    ctx.redraw();
  });
}

/** The address was changed: it is read anew. */
export const forgetHome = () => {
  home = null;
};

/** @param {Ctx} ctx */
function draw(ctx, [kind]) {
  keepAwake(true);
  fetchMissing(ctx);
  const card = kind ? cardOf(ctx.kit, kind) : null;
  // A card begins at its first step each time it is gone to: what was done once may be needed again.
  if (reading.kind !== kind || reading.visit !== visit()) Object.assign(reading, { kind, visit: visit(), step: 0 });
  if (!card) return kind === CLOTTED.kind && ctx.kit?.first_aid?.[kind] ? clottedAid(ctx) : list(ctx);
  const { on_each_card: each } = /** @type {EmergencyTexts} */ (textsOf(ctx.kit));
  return [
    ...oneStep(ctx, card),
    card.signs && h("p", { class: "signs", text: card.signs }),
    others(ctx, card, each.headings),
    ...whole(ctx, card, each),
    ...recordWords(ctx, card),
    bigButton(t("Something else is wrong"), () => go("danger"), { data: { k: "elsewhere" } }),
  ];
}

/** @param {Ctx} ctx */
function bar(ctx, [kind]) {
  const card = kind ? cardOf(ctx.kit, kind) : null;
  const away =
    ctx.night?.doc.started_at && ctx.gate === "open"
      ? { label: t("Back to the treatment"), go: "running" }
      : { label: t("Back"), go: "tonight" };
  return [callAction(ctx.kit?.unit, firstCall(card)), { ...away, tone: "plain" }];
}

/** @param {Ctx} ctx */
function titleOf(ctx, [kind]) {
  if (kind === CLOTTED.kind) return eventWords(ctx.kit, kind);
  return (kind && cardOf(ctx.kit, kind)?.title) || t("Something is wrong");
}

register("danger", {
  title: titleOf,
  draw,
  bar,
});
