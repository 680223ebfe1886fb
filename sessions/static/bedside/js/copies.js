/*
 * The phone as a second backup. A treatment that the unit has leaves the screens after some time, and its copy stays on
 * the phone for 30 days. Where the unit had to bring back a backup, what it lacks since then is sent again by itself:
 * the unit is asked which copies it does not know, when its records have another history and else once a day.
 */

import { hasUnsent, openQuestions } from "./draft.js";
import * as vault from "./vault.js";
import { call } from "./wire.js";

const HOUR = 60 * 60_000;
const IN_SIGHT = 36 * HOUR;
const KEPT = 30 * 24 * HOUR;
const ASKED_EVERY = 20 * HOUR;
const MOST_AT_ONCE = 200;

const age = ({ delivered }) => Date.now() - Date.parse(delivered);

/** Whether the unit has all of a night, for so long that it leaves the screens. @param {Night} night */
export const isOver = (night) =>
  Boolean(night.delivered) && age(night) > IN_SIGHT && !hasUnsent(night) && !openQuestions(night).length;

/** A night leaves the screens, and its copy stays. @param {Night} night */
export async function layAside(night) {
  if (night.etag && !(await vault.put("copies", { ...night, past: [], future: [], unanswered: [] }))) return;
  await vault.remove("nights", night.id);
}

/** @param {Kit} kit */
const askedFor = (kit) => `copies.${kit.patient.id}`;

/** @param {Kit} kit */
async function isDue(kit) {
  const asked = await vault.get("meta", askedFor(kit));
  return asked?.history !== kit.history_id || Date.now() - Date.parse(asked.at) > ASKED_EVERY;
}

/** The copies of this person and patient; those that are too old go. @param {(night: Night) => boolean} isOwn */
async function copiesOf(isOwn) {
  const all = (await vault.all("copies")).filter(isOwn);
  for (const old of all.filter((copy) => age(copy) > KEPT)) await vault.remove("copies", old.id);
  return all.filter((copy) => age(copy) <= KEPT);
}

/**
 * Nights that the unit had and does not have now, as ones that wait to be sent; each counts as the phone's own from
 * its first word. Empty where there is nothing to ask, or nobody answered.
 * @param {Kit} kit @param {Night[]} nights those in sight @param {(night: Night) => boolean} isOwn
 * @returns {Promise<Night[]>}
 */
export async function lostByUnit(kit, nights, isOwn) {
  if (!kit.history_id || !(await isDue(kit))) return [];
  const known = nights.filter((night) => night.delivered && night.etag && !hasUnsent(night));
  const rest = (await copiesOf(isOwn)).filter(({ id }) => !nights.some((night) => night.id === id));
  const all = [...known, ...rest].slice(0, MOST_AT_ONCE);
  const unknown = await notKnown(kit, all);
  if (!unknown) return [];
  await vault.put("meta", { id: askedFor(kit), history: kit.history_id, at: new Date().toISOString() });
  const lost = all.filter(({ id }) => unknown.has(id));
  for (const night of lost) Object.assign(night, { stage: "handed", sent: null, delivered: null, trouble: null });
  return lost;
}

/** @param {Kit} kit @param {Night[]} nights @returns {Promise<Set<string> | null>} */
async function notKnown(kit, nights) {
  if (!nights.length) return new Set();
  const body = JSON.stringify({ copies: Object.fromEntries(nights.map(({ id, etag }) => [id, etag])) });
  const answer = await call("/api/v1/bedside/copies/", { method: "POST", body, account: kit.account.id });
  return answer.kind === "ok" ? new Set(answer.data.unknown) : null;
}

/** It waits among the nights again: its copy is not needed. @param {Night} night */
export const takeUp = (night) => vault.remove("copies", night.id);
