/* What has not reached the unit, each with why, and when it is tried again. */

import { callButtons } from "../calls.js";
import { eventWords } from "../choices.js";
import { documentOf, hasUnsent, openQuestions, statusOf } from "../draft.js";
import { fieldName, placeOfField, whenWords } from "../fields.js";
import { takeOut } from "../file_out.js";
import * as kits from "../kit.js";
import * as outbox from "../outbox.js";
import { isPractice } from "../practice.js";
import { register } from "../router.js";
import { isRefused } from "../trouble.js";
import { bigButton, h, note, toast } from "../ui.js";
import * as vault from "../vault.js";
import { clockOffset } from "../wire.js";
import { hours, t, timeOf, tn } from "../words.js";

/** @param {Night} night */
const nightName = (night) =>
  night.doc.started_at ? t("Night of {when}", { when: whenWords(night.doc.started_at) }) : t("A night without a start");

const STATES = () => ({
  open: t("Being entered; what is new goes to the unit by itself."),
  waiting: t("Handed over; waits for the unit."),
  conflict: t("Two phones wrote different answers in one place: say which is right. Both are kept until then."),
});

/** Why an entry could not be handed over, in words. @param {Trouble} trouble */
function why(trouble) {
  const { status, said } = trouble;
  if (isRefused(trouble))
    return said
      ? t("The unit's server refuses it: {said}", { said })
      : t("The unit's server refuses it ({status}).", { status });
  if (status === 403)
    return t("The unit's server, or a filter on the way to it, does not let this entry through (403).");
  if (status === 413) return t("Something on the way to the unit takes no entry as large as this one (413).");
  if (status >= 500)
    return t("The unit's server broke over this entry ({status}). That is no fault of what you entered.", { status });
  return t("The unit's server did not take this entry ({status}).", { status });
}

/** @param {string} id @param {Trouble} trouble */
function tried(id, { tries, at, next, told }) {
  const words = [tn("Tried once, at {time}.", "Tried {n} times, last at {time}.", tries, { time: timeOf(at) })];
  if (next) words.push(t("It is tried again by itself at {time}.", { time: timeOf(next) }));
  if (told)
    words.push(
      outbox.isTelling(id)
        ? t("The unit could not be told of it yet: call it by day.")
        : t("The unit has been told that it could not be handed over."),
    );
  return words.join(" ");
}

/** @param {string} id @param {Trouble | null | undefined} trouble */
const trouble = (id, trouble) => trouble && [note(why(trouble), "care"), h("p", { text: tried(id, trouble) })];

/** @param {Ctx} ctx @param {Night} night */
function faults(ctx, night) {
  const lead = (field) => {
    ctx.open(night.id);
    night.stage = night.stage === "handed" ? "after" : night.stage;
    ctx.save(night);
    ctx.go(...placeOfField(field, night));
  };
  return night.faults.map(({ field, message }) =>
    bigButton(message, () => lead(field), {
      tone: "care",
      hint: field ? t("Go to: {field}", { field: fieldName(ctx, field) }) : t("Go to the record"),
    }),
  );
}

const again = (id) => bigButton(t("Send it again now"), () => outbox.retry(id), { data: { k: `again-${id}` } });

/** @param {string} id @param {() => any} make */
const fileButton = (id, make) =>
  bigButton(t("Take it out as a file"), async () => takeOut(`entry-${id}.json`, await make()), {
    hint: t("For the unit, when it cannot be sent"),
    data: { k: `file-${id}` },
  });

/** @param {Ctx} ctx @param {Night} night */
const asFile = (ctx, night) => ({
  id: night.id,
  patient: ctx.kit.patient,
  entered_by: ctx.kit.account,
  trouble: night.trouble,
  document: documentOf(night, statusOf(night)),
});

/** @param {Ctx} ctx @param {any} waiting */
function nightRow(ctx, { state, night }) {
  const stuck = night.trouble !== null;
  return h(
    "section",
    { class: "card" },
    h("h2", { text: nightName(night) }),
    STATES()[state] && h("p", { text: STATES()[state] }),
    night.faults.length ? null : trouble(night.id, night.trouble),
    faults(ctx, night),
    state === "conflict" &&
      bigButton(
        tn("Answer {n} question", "Answer {n} questions", openQuestions(night).length),
        () => ctx.go("conflict", night.id),
        { tone: "go", data: { k: `answer-${night.id}` } },
      ),
    stuck && again(night.id),
    stuck && fileButton(night.id, () => asFile(ctx, night)),
    state === "open" &&
      night !== ctx.night &&
      bigButton(t("Go on with it"), () => {
        ctx.open(night.id);
        ctx.go("tonight");
      }),
  );
}

/** @param {Ctx} ctx */
async function leave(ctx, errand) {
  await outbox.drop(errand.id);
  ctx.redraw();
  toast(t("Left: {what}", { what: errand.words }), () => outbox.errand(errand));
}

/** @param {Ctx} ctx @param {any} waiting */
function errandRow(ctx, { errand }) {
  return h(
    "section",
    { class: "card" },
    h("h2", { text: errand.words || t("A note to the unit") }),
    errand.trouble
      ? [
          trouble(errand.id, errand.trouble),
          again(errand.id),
          fileButton(errand.id, () => ({ ...errand, patient: ctx.kit.patient, entered_by: ctx.kit.account })),
          bigButton(t("Leave it"), () => leave(ctx, errand)),
        ]
      : h("p", { text: t("Waits for the unit.") }),
  );
}

let deleting = "";

/** @param {Ctx} ctx @param {any} waiting */
function damagedRow(ctx, { row }) {
  const words =
    row.store === "nights" ? t("A night on this phone cannot be read") : t("A note on this phone cannot be read");
  const remove = async () => {
    await vault.remove(row.store, row.id);
    await outbox.tellItIsOver(row.id, "left");
    deleting = "";
    ctx.redraw();
  };
  const ask = () => {
    deleting = row.id;
    ctx.redraw();
  };
  return h(
    "section",
    { class: "card" },
    h("h2", { text: words }),
    note(
      t(
        "The phone's storage gave it back damaged. It is kept as it is, and nothing of it was sent since. Take " +
          "it out " +
          "as a file and give that to the unit, and write the night from memory or paper.",
      ),
      "stop",
    ),
    fileButton(row.id, () => vault.salvage(row)),
    deleting === row.id
      ? [
          bigButton(t("Delete it: I have the file"), remove, { tone: "danger", data: { k: "delete-damaged" } }),
          bigButton(t("Keep it"), () => {
            deleting = "";
            ctx.redraw();
          }),
        ]
      : bigButton(t("Delete it from this phone"), ask, { data: { k: "ask-delete" } }),
  );
}

function clock() {
  const offset = clockOffset();
  if (offset == null) return null;
  const minutes = Math.round(Math.abs(offset) / 60_000);
  if (minutes <= 5)
    return h("p", { class: "soft", text: t("The phone's clock agrees with the unit's to within five minutes.") });
  const words = {
    far: hours(minutes),
    server: timeOf(new Date(Date.now() - offset).toISOString()),
    phone: timeOf(new Date().toISOString()),
  };
  return note(
    t(
      "By the unit's clock it is {server}, by this phone's {phone}: {far} h apart. Times you entered stay as they " +
        "are; the unit keeps the difference beside the record. Set the phone's clock, and look over the times of " +
        "tonight.",
      words,
    ),
    "care",
  );
}

function pulse() {
  const { busy, next, reached, signedOut } = outbox.pulse;
  if (busy) return h("p", { role: "status", text: t("Sending …") });
  if (signedOut)
    return note(
      t("You are signed out. What waits stays on this phone and goes by itself once you have signed in."),
      "care",
    );
  if (!next) return null;
  const time = timeOf(new Date(next).toISOString());
  return h("p", {
    text: reached
      ? t("Next try at {time}.", { time })
      : t("The unit could not be reached. Next try at {time}.", { time }),
  });
}

const ROWS = { night: nightRow, errand: errandRow, damaged: damagedRow };

/** @param {Waiting[]} rows */
function howMany(rows) {
  const unsent = rows.filter(({ state, night }) => state !== "conflict" || (night && hasUnsent(night))).length;
  if (!rows.length) return note(t("The unit has everything that was entered on this phone."), "good");
  return unsent > 0
    ? h("p", {
        text: tn("{n} entry has not reached the unit yet.", "{n} entries have not reached the unit yet.", unsent),
      })
    : null;
}

/** What was noted on a card and waits for a record. @param {Ctx} ctx */
const jotted = (ctx) =>
  ctx.jotted().map((event) =>
    h(
      "section",
      { class: "card" },
      h("h2", { text: eventWords(ctx.kit, event.kind) }),
      h("p", {
        text: t("Noted at {time}; it goes into the record that is begun next.", { time: timeOf(event.at) }),
      }),
    ),
  );

register("queue", {
  title: () => t("What waits to be sent"),
  draw: (ctx) => {
    const rows = outbox.list();
    const age = kits.ageHours();
    const stuck = rows.some((row) => ["refused", "failed", "damaged"].includes(row.state));
    return [
      isPractice(ctx) &&
        note(t("You are practising. What waits here is no part of it: it really goes to the unit."), "care"),
      ctx.jotted().length && !rows.length ? null : howMany(rows),
      pulse(),
      rows.map((row) => ROWS[row.kind](ctx, row)),
      jotted(ctx),
      stuck && ctx.kit?.unit && callButtons(ctx.kit.unit, "calm"),
      clock(),
      age !== null &&
        h("p", {
          class: "soft",
          text: t("What the unit sent is from {when}.", { when: whenWords(kits.current()?.kept_at ?? "") }),
        }),
    ];
  },
  bar: (ctx) => [
    outbox.pulse.signedOut
      ? { label: t("Sign in"), tap: () => location.assign("/accounts/login/?next=/tonight/") }
      : {
          label: t("Send now"),
          tap: async () => {
            await ctx.refresh();
            await outbox.push();
          },
        },
  ],
});
