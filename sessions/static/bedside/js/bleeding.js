/* How long each needle site bled: a watch that runs from pulling the needle, also through a killed page. */

import { setRow, stampStep } from "./draft.js";
import { isGivenUp, placeName } from "./needle_sites.js";
import { numberField } from "./pad.js";
import { coded, say } from "./ready.js";
import { bigButton, h } from "./ui.js";
import { fmt, stopwatch, t } from "./words.js";

const OUT = "needle_out";
const outKey = (row) => `needle_out_${row.site}_${row.use}`;
/** Since when the needle is out (ISO), or undefined. @param {Ctx} ctx */
export const outSince = (ctx, row) => ctx.night.stamps[outKey(row)];
/** A needle that was given up for another place is out already. @param {UsedSite} row */
const isIn = (row) => row.site != null && !isGivenUp(row);
/** The sites with a needle at the end; a catheter has none. @param {Ctx} ctx */
const sitesIn = (ctx) =>
  ctx.kit.run_sheet?.technique === "catheter"
    ? []
    : ctx.night.doc.sites.map((row, index) => ({ row, index })).filter(({ row }) => isIn(row));
/** Those whose bleeding is not known yet. @param {Ctx} ctx */
export const stillOpen = (ctx) => sitesIn(ctx).filter(({ row }) => row.bleeding_minutes == null);
/** As long is pressed at the least before a touch can say that it has stopped (common practice) [s]. */
const HELD_LEAST = 60;
/** Seconds that are still to be pressed, before which nothing is written; 0 from then on. @param {Ctx} ctx */
export const heldLeft = (ctx, { row }) =>
  Math.max(0, Math.ceil(HELD_LEAST - (ctx.now().getTime() - Date.parse(outSince(ctx, row))) / 1000));

const clock = (since, now) => stopwatch(Math.max(0, (now - Date.parse(since)) / 1000));

/** Half minutes, rounded up: a site that bled for a second bled. */
const minutesOf = (since, now) => Math.max(0.5, Math.ceil((now - Date.parse(since)) / 30_000 - 1e-9) / 2);

/** @param {Ctx} ctx */
export function pull(ctx, { row }) {
  const site = placeName(ctx.kit, row);
  ctx.change(say(ctx.kit, OUT, { site }), (night) =>
    stampStep(night, outKey(row), coded(OUT, { site }), ctx.now().toISOString()),
  );
  window.scrollTo(0, 0);
}

/** @param {Ctx} ctx */
export function stopped(ctx, { row, index }) {
  const minutes = minutesOf(outSince(ctx, row), ctx.now().getTime());
  ctx.change(t("{site}: bled for {n} min", { site: placeName(ctx.kit, row), n: fmt(minutes) }), (night) => {
    setRow(night, "sites", index, { bleeding_minutes: minutes });
  });
}

/** @type {number | undefined} */
let ticking;

/**
 * The running watch is written anew each second, without a redraw; it ends with the screen it stands on. Once it has
 * been pressed long enough the screen is drawn anew, for then its main action is another one.
 * @param {Ctx} ctx
 */
function tick(ctx, watches) {
  clearInterval(ticking);
  const held = () => stillOpen(ctx).filter((each) => outSince(ctx, each.row) && heldLeft(ctx, each)).length;
  const before = held();
  ticking = setInterval(() => {
    if (!watches.some(({ node }) => node.isConnected)) return clearInterval(ticking);
    for (const { node, since } of watches) node.textContent = clock(since, ctx.now().getTime());
    if (held() !== before) ctx.redraw();
  }, 1000);
}

/** The running watches, each with its site, to stand in sight whatever is read below them. @param {Ctx} ctx */
export function watches(ctx) {
  const running = stillOpen(ctx).filter(({ row }) => outSince(ctx, row));
  if (!running.length) return null;
  const shown = running.map(({ row }) => {
    const since = outSince(ctx, row);
    const node = h("output", {
      class: "figure watch",
      text: clock(since, ctx.now().getTime()),
      aria: { label: t("Minutes since the needle came out") },
    });
    return { node, since, site: placeName(ctx.kit, row) };
  });
  tick(ctx, shown);
  return h(
    "div",
    { class: "watches" },
    shown.map(({ node, site }) => h("p", null, h("b", { text: site }), node)),
    h("p", { class: "soft", text: t("Press with two fingers, do not lift to look.") }),
  );
}

/** The rows of all sites: pull, stop, correct. @param {Ctx} ctx */
export const bleedingRows = (ctx) =>
  sitesIn(ctx).map((each) => {
    const since = outSince(ctx, each.row);
    const open = each.row.bleeding_minutes == null;
    return h(
      "section",
      { class: "card" },
      h("h3", { text: placeName(ctx.kit, each.row) }),
      !since && open && bigButton(t("Needle is out now"), () => pull(ctx, each), { data: { k: `pull-${each.index}` } }),
      since &&
        open &&
        !heldLeft(ctx, each) &&
        bigButton(t("Bleeding has stopped"), () => stopped(ctx, each), {
          tone: "go",
          data: { k: `stop-${each.index}` },
        }),
      numberField(ctx, `sites[${each.index}].bleeding_minutes`, { label: t("Bled for") }),
    );
  });
