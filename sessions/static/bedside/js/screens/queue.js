/* What has not reached the unit, each with why, and when it is tried again. */

import { fieldName, whenWords } from "../fields.js";
import * as kits from "../kit.js";
import * as outbox from "../outbox.js";
import { register } from "../router.js";
import { bigButton, h, note, toast } from "../ui.js";
import { clockOffset } from "../wire.js";
import { hours, t, timeOf, tn } from "../words.js";

/** @param {Night} night */
const nightName = (night) =>
  night.doc.started_at ? t("Night of {when}", { when: whenWords(night.doc.started_at) }) : t("A night without a start");

const STATES = () => ({
  open: t("Being entered; what is new goes to the unit by itself."),
  waiting: t("Handed over; waits for the unit."),
  conflict: t("Somebody else changed it at the unit: choose which version holds."),
  refused: t("The unit's server refused it; see what it says."),
});

/** The screen on which a field of the record is entered. @param {Night} night */
export function screenOfField(field, night) {
  if (night.plan.paper) return "paper";
  if (field.startsWith("readings") || field.startsWith("events") || field.startsWith("medicines")) return "running";
  if (field.startsWith("checks")) return "checks";
  if (field.startsWith("sites")) return "needles";
  return /^pre_|^planned_|^rinse_back/.test(field) ? "weigh" : "finish";
}

/** @param {Ctx} ctx @param {Night} night */
function faults(ctx, night) {
  const lead = (field) => {
    ctx.open(night.id);
    night.stage = night.stage === "handed" ? "after" : night.stage;
    ctx.save(night);
    ctx.go(screenOfField(field, night));
  };
  return night.faults.map(({ field, message }) =>
    bigButton(message, () => lead(field), {
      tone: "care",
      hint: field ? t("Go to: {field}", { field: fieldName(ctx, field) }) : t("Go to the record"),
    }),
  );
}

/** @param {Ctx} ctx @param {any} waiting */
function nightRow(ctx, { state, night }) {
  return h(
    "section",
    { class: "card" },
    h("h2", { text: nightName(night) }),
    h("p", { text: STATES()[state] }),
    faults(ctx, night),
    state === "conflict" && bigButton(t("Look at both versions"), () => ctx.go("conflict", night.id), { tone: "go" }),
    state === "refused" && bigButton(t("Send it again as it is"), () => outbox.retry(night.id)),
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
function errandRow(ctx, { state, errand }) {
  return h(
    "section",
    { class: "card" },
    h("h2", { text: errand.words || t("A note to the unit") }),
    h("p", { text: state === "refused" ? errand.refused : t("Waits for the unit.") }),
    state === "refused" && [
      bigButton(t("Try again"), () => outbox.retry(errand.id)),
      bigButton(t("Leave it"), () => leave(ctx, errand)),
    ],
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
  const { busy, next, signedOut } = outbox.pulse;
  if (busy) return h("p", { role: "status", text: t("Sending …") });
  if (signedOut)
    return note(
      t("You are signed out. What waits stays on this phone and goes by itself once you have signed in."),
      "care",
    );
  return next
    ? h("p", {
        text: t("The unit could not be reached. Next try at {time}.", { time: timeOf(new Date(next).toISOString()) }),
      })
    : null;
}

register("queue", {
  title: () => t("What waits to be sent"),
  draw: (ctx) => {
    const rows = outbox.list();
    const age = kits.ageHours();
    return [
      rows.length
        ? h("p", {
            text: tn(
              "{n} entry has not reached the unit yet.",
              "{n} entries have not reached the unit yet.",
              rows.length,
            ),
          })
        : note(t("The unit has everything."), "good"),
      pulse(),
      rows.map((row) => (row.kind === "night" ? nightRow(ctx, row) : errandRow(ctx, row))),
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
