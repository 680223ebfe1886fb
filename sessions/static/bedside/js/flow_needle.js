/* A needle that is given up while the treatment runs, and the new one: what the steps of a swelling ask about it. */

import { changeSite, setFields, setRow, siteOf } from "./draft.js";
import { coded } from "./ready.js";
import { go } from "./router.js";
import { bigButton, dl } from "./ui.js";
import { t, timeOf } from "./words.js";

const GIVEN_UP = coded("given_up");
/** @param {UsedSite | undefined} row */
const isGivenUp = (row) => Boolean(row?.note?.includes(GIVEN_UP));
/** @param {Ctx} ctx */
const nameOf = (ctx, row) => ctx.kit.access?.sites.find((site) => site.id === row.site)?.name ?? t("Site");

/** The needle of a use stays in the record as given up. @param {Night} night */
export function giveUp(night, use) {
  const row = siteOf(night, use);
  if (row && !isGivenUp(row)) changeSite(night, use, { note: [row.note, GIVEN_UP].filter(Boolean).join(" ") });
}

/** Swollen at one needle: which, and that it is used no more. @param {"arterial" | "venous"} use */
export const swollenAt = (use) => (night, index) => {
  setRow(night, "events", index, { use });
  giveUp(night, use);
};

/** The new one swells too. @param {Night} night */
export const swollenAgain = (night, index) => giveUp(night, night.doc.events[index].use);

/** The new needle of an event, undefined until its place is chosen. @param {Ctx} ctx */
function newOne(ctx, event) {
  const row = siteOf(ctx.night, event.use);
  return row && !isGivenUp(row) ? row : undefined;
}

/** Whether the new needle is in. @param {Ctx} ctx */
export const isIn = (ctx, event) => Boolean(newOne(ctx, event)?.at);

/** Where the new needle stands: its place, then its steps from the cleaning on. @param {Ctx} ctx */
export function newPlace(ctx, { event }) {
  const row = newOne(ctx, event);
  const old = ctx.night.doc.sites.filter((each) => each.use === event.use && isGivenUp(each));
  const next = row
    ? { label: t("Clean and put in the new needle"), to: () => go("needles") }
    : { label: t("Choose the new place"), to: () => go("access", event.use) };
  return [
    dl([
      old.length ? [t("Given up"), old.map((each) => nameOf(ctx, each)).join(", ")] : null,
      row ? [t("New place"), [nameOf(ctx, row), row.at && timeOf(row.at)].filter(Boolean).join(", ")] : null,
    ]),
    row?.at ? null : bigButton(next.label, next.to, { tone: "go", data: { k: "new-needle" } }),
  ];
}

/* What an end says of the whole treatment ----------------------------------------------------------- */

const REASONS = { hypotension: "pressure", infiltration: "needle", clotting: "clotted" };

/** What became of the blood is a fact of the treatment, and is asked there again. @param {string} code */
export const bloodIs = (code) => (night) => setFields(night, { blood_return: code });

/** Why it ended before its time, where nobody has said. @param {Night} night */
export function endedEarly(night, kind) {
  if (!night.doc.early_reason) setFields(night, { early_reason: REASONS[kind] ?? "machine" });
}
