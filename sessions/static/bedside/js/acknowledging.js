/* What a person read or noted beside the record: kept in the kit here, and told to the unit when there is a network. */

import * as outbox from "./outbox.js";
import * as vault from "./vault.js";

const ACKNOWLEDGE = "/api/v1/bedside/acknowledge/";
const NOTED = { done: "/api/v1/bedside/done/", water: "/api/v1/bedside/water/", count: "/api/v1/bedside/counts/" };
/** @param {Ctx} ctx */
const keepKit = (ctx) => vault.put("kit", ctx.kit);

/** Whether a change of the prescription still waits to be read by this person. @param {Ctx} ctx */
export function changesUnread(ctx) {
  const { changes, prescription } = ctx.kit;
  if (!changes?.lines.length || changes.acknowledged || !prescription) return false;
  return !outbox
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
const isSeen = (message) => message.seen || outbox.list().some(({ errand }) => errand?.url === seenAddress(message.id));
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
export async function noteSurroundings(ctx, form, body, words, due = []) {
  for (const item of due) item.noted = true;
  await keepKit(ctx);
  return ctx.errand({ url: NOTED[form], body: { patient: ctx.kit.patient.id, ...body }, words });
}
