/* What another phone, or another person, did on the night in hand, in words. */

import { note } from "./ui.js";
import { t, timeOf } from "./words.js";

/** Who that is: a name, or oneself on another phone. @param {Ctx} ctx @param {{id: number, name: string} | null} by */
export const whoWords = (ctx, by) =>
  by?.id === ctx.kit?.account?.id ? t("you, on another phone or page") : (by?.name ?? t("at the unit"));

/** Who wrote a row, where it was not this phone. @param {Ctx} ctx @param {{id?: string}} row */
export const writtenBy = (ctx, row) =>
  row.id && row.id in (ctx.night.others ?? {})
    ? t("written by {who}", { who: whoWords(ctx, ctx.night.others[row.id]) })
    : null;

/** That the treatment has ended, so that no clock runs on for one that is over; null while it runs. @param {Ctx} ctx */
export function endedWords(ctx) {
  const { doc, heard, stage, mistaken } = ctx.night;
  if (mistaken) return note(t("Taken back: it was begun by mistake. No treatment was done."), "care");
  if (!doc.ended_at) return null;
  const time = timeOf(doc.ended_at);
  if (stage === "handed" && heard)
    return note(t("Ended at {time} and handed over by {who}.", { time, who: whoWords(ctx, heard.by) }), "good");
  // Not in green: that it ended says nothing of how.
  return note(t("The treatment has ended at {time}.", { time }));
}
