/*
 * A treatment that runs and is not the one in hand: begun on this phone, on another one, or known to the unit. Nobody
 * begins a second one without being told of it first.
 */

import { isLive } from "./draft.js";
import { call } from "./wire.js";

/** Longer than any treatment lasts: what was left open before that runs no more. */
const RUNS_AT_MOST = 20 * 60 * 60_000;
/** As long one waits for the unit before one begins without its answer. */
const PATIENCE = 5_000;
/** @type {any[]} what the unit said last */
let asked = [];

/**
 * Those that run -> [{id, started_at, by (null: this phone), document?}], the newest first.
 * @param {Ctx} ctx
 */
export function runningBeside(ctx) {
  const since = ctx.now().getTime() - RUNS_AT_MOST;
  const runs = (doc) => doc.started_at && !doc.ended_at && Date.parse(doc.started_at) > since;
  const known = new Set(ctx.nights.map((night) => night.id));
  const here = ctx.nights
    .filter((night) => night !== ctx.night && !night.practice && isLive(night) && runs(night.doc))
    .map(({ id, doc }) => ({ id, started_at: doc.started_at, by: null }));
  const away = [...new Map([...(ctx.kit?.open ?? []), ...asked].map((each) => [each.id, each])).values()]
    .filter(
      (each) => each.patient === ctx.kit.patient.id && each.status === "open" && !known.has(each.id) && runs(each),
    )
    .map((document) => ({ id: document.id, started_at: document.started_at, by: document.entered_by, document }));
  return [...here, ...away].sort((one, other) => (one.started_at < other.started_at ? 1 : -1));
}

/** The same after asking the unit, where it can be reached soon. @param {Ctx} ctx */
export async function askWhatRuns(ctx) {
  if (!ctx.online()) return runningBeside(ctx);
  const since = encodeURIComponent(new Date(ctx.now().getTime() - RUNS_AT_MOST).toISOString());
  const address = `/api/v1/treatments/?patient=${ctx.kit.patient.id}&since=${since}`;
  const late = new Promise((done) => setTimeout(done, PATIENCE, null));
  const answer = await Promise.race([call(address, { account: ctx.kit.account.id }), late]);
  if (answer?.kind === "ok") asked = answer.data.results ?? [];
  return runningBeside(ctx);
}

/**
 * A treatment begun here while another one ran, of which nobody has said yet whether it is the same.
 * @param {Ctx} ctx
 */
export function unclear(ctx) {
  const { night } = ctx;
  if (!isLive(night) || night.practice || !night.doc.started_at || night.doc.ended_at) return [];
  return runningBeside(ctx).filter(({ id }) => !night.acks?.[`beside-${id}`]);
}
