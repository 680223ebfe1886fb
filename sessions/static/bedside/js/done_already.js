/* A treatment that there is already, in words, and the way to look at it. */

import { t, timeOf } from "./words.js";

/** @param {{started_at: Iso, ended_at: Iso | null, stage: string, waits: boolean}} done */
export function toldOfDone({ started_at: started, ended_at: ended, stage, waits }) {
  const times = { from: timeOf(started), to: ended ? timeOf(ended) : "" };
  if (waits) return t("Begun {from}, ended {to}, waits on this phone for the unit.", times);
  if (stage === "handed" && !ended) return t("Begun {from}, handed over to the unit.", times);
  if (stage === "handed") return t("Begun {from}, ended {to}, handed over to the unit.", times);
  return ended ? t("Begun {from}, ended {to}, not handed over yet.", times) : t("Begun {from}, not ended yet.", times);
}

/** To its record on this phone, or to what the unit has of it. @param {Ctx} ctx */
export function look(ctx, { id, stage, here }) {
  if (stage === "handed") return ctx.go(...(here ? ["answer", id] : ["nights", id]));
  if (!ctx.open(id)) return ctx.go("tonight");
  return ctx.go(stage === "running" ? "running" : "finish");
}
