/* How long each needle site bled: a watch that runs from pulling the needle, also through a killed page. */

import { setRow, stampStep } from "./draft.js";
import { numberField } from "./pad.js";
import { coded, say } from "./ready.js";
import { bigButton, h } from "./ui.js";
import { fmt, t } from "./words.js";

const OUT = "needle_out";
const outKey = (row) => `needle_out_${row.site}_${row.use}`;
/** @param {Ctx} ctx */
const siteName = (ctx, row) => ctx.kit.access?.sites.find((site) => site.id === row.site)?.name ?? t("Site");
/** Since when the needle is out (ISO), or undefined. @param {Ctx} ctx */
export const outSince = (ctx, row) => ctx.night.stamps[outKey(row)];
/** Sites with a needle whose bleeding is not known yet; a catheter has none. @param {Ctx} ctx */
export const stillOpen = (ctx) =>
  ctx.kit.run_sheet?.technique === "catheter"
    ? []
    : ctx.night.doc.sites
        .map((row, index) => ({ row, index }))
        .filter(({ row }) => row.site != null && row.bleeding_minutes == null);

const clock = (since, now) => {
  const seconds = Math.max(0, Math.floor((now - Date.parse(since)) / 1000));
  return `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
};

/** Half minutes, rounded up: a site that bled for a second bled. */
const minutesOf = (since, now) => Math.max(0.5, Math.ceil((now - Date.parse(since)) / 30_000 - 1e-9) / 2);

/** @param {Ctx} ctx */
export function pull(ctx, { row }) {
  const site = siteName(ctx, row);
  ctx.change(say(ctx.kit, OUT, { site }), (night) =>
    stampStep(night, outKey(row), coded(OUT, { site }), ctx.now().toISOString()),
  );
}

/** @param {Ctx} ctx */
export function stopped(ctx, { row, index }) {
  const minutes = minutesOf(outSince(ctx, row), ctx.now().getTime());
  ctx.change(t("{site}: bled for {n} min", { site: siteName(ctx, row), n: fmt(minutes) }), (night) => {
    setRow(night, "sites", index, { bleeding_minutes: minutes });
  });
}

/** @type {number | undefined} */
let ticking;

/** The running watch is written anew each second, without a redraw; it ends with the screen it stands on. */
function tick(watches, now) {
  clearInterval(ticking);
  ticking = setInterval(() => {
    if (!watches.some(({ node }) => node.isConnected)) return clearInterval(ticking);
    for (const { node, since } of watches) node.textContent = clock(since, now().getTime());
  }, 1000);
}

/** The rows of all sites: pull, watch, stop, correct. @param {Ctx} ctx */
export function bleedingRows(ctx) {
  if (ctx.kit.run_sheet?.technique === "catheter") return [];
  const watches = [];
  const rows = ctx.night.doc.sites
    .map((row, index) => ({ row, index }))
    .filter(({ row }) => row.site != null)
    .map((each) => {
      const since = outSince(ctx, each.row);
      const runs = since && each.row.bleeding_minutes == null;
      const watch =
        runs &&
        h("output", {
          class: "figure watch",
          text: clock(since, ctx.now().getTime()),
          aria: { label: t("Minutes since the needle came out") },
        });
      if (watch) watches.push({ node: watch, since });
      return h(
        "section",
        { class: "card" },
        h("h3", { text: siteName(ctx, each.row) }),
        watch,
        !since &&
          each.row.bleeding_minutes == null &&
          bigButton(t("Needle is out now"), () => pull(ctx, each), { data: { k: `pull-${each.index}` } }),
        runs &&
          bigButton(t("Bleeding has stopped"), () => stopped(ctx, each), {
            tone: "go",
            data: { k: `stop-${each.index}` },
          }),
        numberField(ctx, `sites[${each.index}].bleeding_minutes`, { label: t("Bled for") }),
      );
    });
  if (watches.length) tick(watches, ctx.now);
  return rows;
}

export { siteName };
