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

/** The needle of a use stays in the record as given up. @param {Night} night */
export function giveUp(night, use) {
  const row = siteOf(night, use);
  if (row && !isGivenUp(row)) changeSite(night, use, { note: [row.note, GIVEN_UP].filter(Boolean).join(" ") });
}
