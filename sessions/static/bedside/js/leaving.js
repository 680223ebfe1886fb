/* Signing out, and a phone that the unit took back: what is kept here goes, and nothing unsent goes silently. */

import * as kits from "./kit.js";
import * as outbox from "./outbox.js";
import { draw } from "./router.js";
import * as vault from "./vault.js";
import { call } from "./wire.js";

/** Nights, errands and what was noted on a card: all that has not reached the unit. @param {Ctx} ctx */
export const unsent = (ctx) => [...outbox.list(), ...ctx.jotted()];

/**
 * The unit took this phone back: everything goes, and the screen says so and how many had not been sent.
 * @param {Ctx} ctx
 */
export async function deviceGone(ctx, data) {
  const lost = ctx.gate === "open" ? unsent(ctx).length : (vault.plain("unsent") ?? 0);
  kits.forget();
  await vault.wipe();
  ctx.empty({ reason: data.reason ?? "", lost });
  draw(true);
  return "gone";
}

/**
 * Sign out and wipe -> "left", or "unreachable" when the server did not hear it: then nothing is wiped.
 * @param {Ctx} ctx
 */
export async function signOut(ctx) {
  // The header that the server answers with would clear what another person keeps on this phone too.
  const body = new URLSearchParams((await vault.othersHere()) ? {} : { wipe: "1" }).toString();
  const answer = await call("/accounts/logout/", {
    method: "POST",
    body,
    type: "application/x-www-form-urlencoded",
    account: ctx.kit?.account?.id,
  });
  if (answer.status !== 302 && answer.kind !== "ok") return answer.kind;
  kits.forget();
  await vault.wipe();
  location.replace("/accounts/login/?next=/tonight/");
  return "left";
}
