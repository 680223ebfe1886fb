/* What stands around a night: last time's numbers, what was read, which night comes next in hand. */

import * as queue from "./queue.js";
import * as vault from "./vault.js";

/** The nights that were handed over and began before this one, newest first. @param {Ctx} ctx @param {Night} [night] */
export function nightsBefore(ctx, night = ctx.night) {
  const began = Date.parse(night?.doc.started_at ?? ctx.now().toISOString());
  return (ctx.kit.history ?? []).filter((each) => Date.parse(each.started_at) < began);
}

/** A number of the last of them that has it, or null. @param {Ctx} ctx @param {Night} [night] */
export const lastTime = (ctx, night) => (path) =>
  nightsBefore(ctx, night).find((each) => each[path] != null)?.[path] ?? null;

/**
 * The weight after the treatment before this one, or null: the gain is counted from that one alone, as at the unit.
 * @param {Ctx} ctx @param {Night} [night]
 */
export const lastPost = (ctx, night) => nightsBefore(ctx, night)[0]?.post_weight_kg ?? null;

const ACKNOWLEDGE = "/api/v1/bedside/acknowledge/";
const NOTED = { done: "/api/v1/bedside/done/", water: "/api/v1/bedside/water/", count: "/api/v1/bedside/counts/" };
/** @param {Ctx} ctx */
const keepKit = (ctx) => vault.put("kit", ctx.kit);

/** Whether a change of the prescription still waits to be read by this person. @param {Ctx} ctx */
export function changesUnread(ctx) {
  const { changes, prescription } = ctx.kit;
  if (!changes?.lines.length || changes.acknowledged || !prescription) return false;
  return !queue
    .list()
    .some(({ errand }) => errand?.url === ACKNOWLEDGE && errand.body.version === prescription.version);
}

/** Note that the prescription in force was read; it reaches the unit when there is a network. @param {Ctx} ctx */
export async function acknowledge(ctx, words) {
  const { changes, prescription } = ctx.kit;
  if (!changes || !prescription) return;
  changes.acknowledged = true;
  await keepKit(ctx);
  await ctx.errand({
    url: ACKNOWLEDGE,
    body: { version: prescription.version, patient: ctx.kit.patient.id, at: ctx.now().toISOString() },
    words,
  });
}

const seenAddress = (id) => `/api/v1/bedside/messages/${id}/seen/`;
const isSeen = (message) => message.seen || queue.list().some(({ errand }) => errand?.url === seenAddress(message.id));
/** @param {Kit} kit */
export const unseen = (kit) => (kit.messages ?? []).filter((message) => !isSeen(message));

/** @param {Ctx} ctx */
export async function seen(ctx, message, words) {
  message.seen = true;
  await keepKit(ctx);
  await ctx.errand({ url: seenAddress(message.id), body: { at: ctx.now().toISOString() }, words });
}

/**
 * Tell the unit of a test, a count or a task -> the errand's id. What was due of it is marked here at once.
 * @param {Ctx} ctx
 */
export async function noteAround(ctx, form, body, words, due = []) {
  for (const item of due) item.noted = true;
  await keepKit(ctx);
  return ctx.errand({ url: NOTED[form], body: { patient: ctx.kit.patient.id, ...body }, words });
}
