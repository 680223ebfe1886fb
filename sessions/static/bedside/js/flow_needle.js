/* A needle that is given up while the treatment runs, and the new one: what the steps of a swelling ask about it. */

import { setFields, setRow, siteOf } from "./draft.js";
import { giveUp, isGivenUp, placeName, placesLeft } from "./needle_sites.js";
import { coded } from "./ready.js";
import { go } from "./router.js";
import { bigButton, dl, note } from "./ui.js";
import { t, timeOf } from "./words.js";

/** Swollen at one needle: which, and that it is used no more. @param {"arterial" | "venous"} use */
export const swollenAt = (use) => (night, index) => {
  setRow(night, "events", index, { use });
  giveUp(night, use);
};

/** That there is none to go to stands with the swelling, wherever that is read. @param {Night} night */
export function noOtherPlace(night, index) {
  const { note: noted } = night.doc.events[index];
  const words = coded("no_other_place");
  if (!noted.includes(words)) setRow(night, "events", index, { note: [noted, words].filter(Boolean).join(" ") });
}

/** The new one swells too. @param {Night} night */
export const swollenAgain = (night, index) => giveUp(night, night.doc.events[index].use);

/** The new needle of an event, undefined until its place is chosen. @param {Ctx} ctx */
function newOne(ctx, event) {
  const row = siteOf(ctx.night, event.use);
  return row && !isGivenUp(row) ? row : undefined;
}

/** Whether the new needle is in. @param {Ctx} ctx */
export const isIn = (ctx, event) => Boolean(newOne(ctx, event)?.at);

/** What is said where every place of the access was tried or holds the other needle. */
export const noneLeft = () => t("Every place on this phone was tried, or holds the other needle.");

/** Where the new needle stands: its place, then its steps from the cleaning on. @param {Ctx} ctx */
export function newPlace(ctx, { event }) {
  const row = newOne(ctx, event);
  const old = ctx.night.doc.sites.filter((each) => each.use === event.use && isGivenUp(each));
  const stuck = !row && !placesLeft(ctx.kit, ctx.night, event.use).length;
  const next = row
    ? { label: t("Clean and put in the new needle"), to: () => go("needles") }
    : { label: t("Choose the new place"), to: () => go("access", event.use) };
  return [
    dl([
      old.length ? [t("Given up"), old.map((each) => placeName(ctx.kit, each)).join(", ")] : null,
      row ? [t("New place"), [placeName(ctx.kit, row), row.at && timeOf(row.at)].filter(Boolean).join(", ")] : null,
    ]),
    stuck ? note(noneLeft(), "care") : null,
    stuck || row?.at ? null : bigButton(next.label, next.to, { tone: "go", data: { k: "new-needle" } }),
  ];
}

/* What an end says of the whole treatment ----------------------------------------------------------- */

const reasonOf = (kind) => REASONS[kind] ?? "machine";
const REASONS = { hypotension: "pressure", infiltration: "needle", clotting: "clotted" };

/** What became of the blood is a fact of the treatment, and is asked there again. @param {string} code */
export const bloodIs = (code) => (night) => setFields(night, { blood_return: code });

/**
 * An event that was at its end is not: the moment that ended it goes, and what it said of the whole treatment. How it
 * ends is answered anew. @param {Night} night @param {number} index
 */
export function reopen(night, index) {
  const { kind, outcome, ended_at: over, resumed_at: resumed } = night.doc.events[index];
  setRow(night, "events", index, { outcome: "", ended_at: null, resumed_at: resumed === over ? null : resumed });
  if (outcome !== "ended") return;
  setFields(night, { blood_return: "" });
  if (night.doc.early_reason === reasonOf(kind)) setFields(night, { early_reason: "" });
}

/** Why it ended before its time, where nobody has said. @param {Night} night */
export function endedEarly(night, kind) {
  if (!night.doc.early_reason) setFields(night, { early_reason: reasonOf(kind) });
}
