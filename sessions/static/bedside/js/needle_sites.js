/* The needles of a night by their sites: what a site is called, and which needle was given up for another place. */

import { changeSite, siteOf } from "./draft.js";
import { coded } from "./ready.js";
import { t } from "./words.js";

const GIVEN_UP = coded("given_up");

/** What a site of the access is called; undefined where this phone does not know it. @param {Kit} kit */
export const siteName = (kit, id) => kit.access?.sites.find((site) => site.id === id)?.name;

/** What the site of a needle is called, in any case. @param {Kit} kit @param {UsedSite} row */
export const placeName = (kit, row) => siteName(kit, row.site) ?? t("Site");

/** @param {UsedSite | undefined} row */
export const isGivenUp = (row) => Boolean(row?.note?.includes(GIVEN_UP));

/**
 * Whether a needle stays where it is no more: it was given up, or what can be done about it is asked just now. A lumen
 * has no other place.
 * @param {Kit} kit @param {Night} night @param {UsedSite | undefined} row
 */
export const isOut = (kit, night, row) =>
  isGivenUp(row) ||
  Boolean(
    row && kit.access?.kind !== "catheter" && night.plan.sheet?.failed === row.use && siteOf(night, row.use) === row,
  );

/**
 * The sites where a needle of a use may still go: neither the other needle's nor one where a needle was in already.
 * @param {Kit} kit @param {Night} night
 */
export function placesLeft(kit, night, use) {
  const gone = night.doc.sites.filter((row) => row.use !== use || row.at || isGivenUp(row)).map((row) => row.site);
  return (kit.access?.sites ?? []).filter((site) => !gone.includes(site.id));
}

/** The needle of a use stays in the record as given up. @param {Night} night */
export function giveUp(night, use) {
  const row = siteOf(night, use);
  if (row && !isGivenUp(row)) changeSite(night, use, { note: [row.note, GIVEN_UP].filter(Boolean).join(" ") });
}

/** Whether there are no needles at all. @param {Ctx} ctx */
export const ofCatheter = (ctx) => ctx.kit.access?.kind === "catheter";

/** @param {Ctx} ctx */
export const standingName = (ctx, use) => siteName(ctx.kit, siteOf(ctx.night, use)?.site);
