/* Whether a night really opens on this phone without a network: looked up piece by piece, never taken for granted. */

import * as kits from "./kit.js";
import * as vault from "./vault.js";
import { t } from "./words.js";

/** A worker that says nothing for so long is taken for one that keeps nothing. */
const PATIENCE = 15_000;
/**
 * page: "coming" | "kept" | "never" (this browser or window has no worker) | "failed" (tried again with a network).
 * looked: whether the rest was read back yet. @type {{page: string, looked: boolean, kit: boolean, cards: boolean}}
 */
const found = { page: "coming", looked: false, kit: false, cards: false };
let told = "";
/** What the window is told when something of it changed. */
export const LOOKED = "bedside-looked";
export const tell = () => window.dispatchEvent(new Event(LOOKED));

/** How many files of its release the worker lacks, after it has fetched what it could. @param {ServiceWorker} worker */
function lacking(worker) {
  return new Promise((resolve) => {
    const { port1, port2 } = new MessageChannel();
    port1.onmessage = ({ data }) => resolve(data);
    worker.postMessage("fill", [port2]);
    setTimeout(() => resolve(Number.POSITIVE_INFINITY), PATIENCE);
  });
}

/** What became of the page: a state, or the worker that keeps it and is asked. @param {string | ServiceWorker} by */
export async function notePage(by) {
  if (typeof by === "string") found.page = by;
  else found.page = (await lacking(by)) ? "failed" : "kept";
}

/**
 * Read back what a night needs beside the page; what lies behind a PIN was there when it was locked.
 * @param {Ctx} ctx
 */
export async function look(ctx) {
  if (ctx.gate === "starting") return;
  const { cards, unit } = (await kits.emergencyPart()) ?? {};
  found.cards = Boolean(cards?.length && unit?.emergency_number);
  found.kit = ctx.gate === "locked" || Boolean(await vault.get("kit", vault.plain("patient")));
  found.looked = true;
  const now = JSON.stringify(found);
  if (now === told) return;
  told = now;
  tell();
}

/** Whether everything is there; it is coming while it is on its way or was not looked for yet. */
export const isReady = () => found.page === "kept" && found.kit && found.cards;
export const isComing = () => found.page === "coming" || !found.looked;
/** Whether the page alone is there. */
export const isPageKept = () => found.page === "kept";

const pageWords = () =>
  ({
    kept: t("kept"),
    coming: t("being kept now; stay on this page, with a network"),
    never: t("not kept: this browser, or a private window, keeps no page. Open it in a normal window"),
    failed: t("not kept: it could not be fetched whole. It is tried again while there is a network"),
  })[found.page];

/** What a night without a network needs -> pairs of a name and whether it is there, in words. */
export const pieces = () => {
  const there = (kept) => (kept ? t("kept") : t("not kept yet: it comes from the unit, with a network"));
  return [
    [t("This page: screens, styles and words"), pageWords()],
    [t("Prescription, checks and sheets"), there(found.kit)],
    [t("Emergency cards and the unit's numbers"), there(found.cards)],
  ];
};
