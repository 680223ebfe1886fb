/* What another phone, or another person, did on the night in hand, in words. */

import { bloodReturns, eventWords } from "./choices.js";
import { overBy } from "./flow_state.js";
import { h, note } from "./ui.js";
import { t, timeOf } from "./words.js";

/** Who that is: a name, or oneself on another phone. @param {Ctx} ctx @param {{id: number, name: string} | null} by */
export const whoWords = (ctx, by) =>
  by?.id === ctx.kit?.account?.id ? t("you, on another phone or page") : (by?.name ?? t("at the unit"));

/** Who wrote a row, where it was not this phone. @param {Ctx} ctx @param {{id?: string}} row */
export const writtenBy = (ctx, row) =>
  row.id && row.id in (ctx.night.others ?? {})
    ? t("written by {who}", { who: whoWords(ctx, ctx.night.others[row.id]) })
    : null;

/** The treatment is over by what was answered on a way through trouble; its end is still to be gone through. */
function overWords({ kit, night }) {
  const event = overBy(night);
  if (!event) return null;
  const words = { what: eventWords(kit, event.kind), time: timeOf(event.ended_at ?? event.at) };
  const blood = bloodReturns().find(({ value }) => value === night.doc.blood_return)?.label;
  return note(
    [t("Over since {time}: {what}.", words), blood && `${t("Blood in the lines")}: ${blood}.`]
      .filter(Boolean)
      .join(" "),
    "care",
    h("p", { text: t("Its end is still to be gone through: the steps that are left, and what the machine shows.") }),
  );
}

/** That the treatment has ended, so that no clock runs on for one that is over; null while it runs. @param {Ctx} ctx */
export function endedWords(ctx) {
  const { doc, heard, stage, mistaken } = ctx.night;
  if (mistaken) return note(t("Taken back: it was begun by mistake. No treatment was done."), "care");
  if (!doc.ended_at) return overWords(ctx);
  const time = timeOf(doc.ended_at);
  if (stage === "handed" && heard)
    return note(t("Ended at {time} and handed over by {who}.", { time, who: whoWords(ctx, heard.by) }), "good");
  // Not in green: that it ended says nothing of how.
  return note(t("The treatment has ended at {time}.", { time }));
}
