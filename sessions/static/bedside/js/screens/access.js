/* The access before the needles: the unit's look, feel and listen checks, then the two sites on the drawn limb. */

import { limbPicture, longestRested, siteWords, stateOf, warnings } from "../arm.js";
import { useWords } from "../choices.js";
import { toWall } from "../clock.js";
import { siteOf } from "../draft.js";
import { noneLeft } from "../flow_needle.js";
import { isGivenUp, isOut, ofCatheter, placesLeft } from "../needle_sites.js";
import { go, register } from "../router.js";
import { bigButton, h, note, toast } from "../ui.js";
import { t, tn } from "../words.js";
import { openChecks } from "./checks.js";
import { takeSite } from "./needles.js";

const USES = ["arterial", "venous"];
let active = null; // which needle the next touch is for; null lets the address, or the first one without a site, be it
window.addEventListener("hashchange", () => {
  active = null;
});

/** The place of each needle; null where none is chosen, or the one that was is given up. @param {Ctx} ctx */
function pickedOf(ctx) {
  const place = (use) => {
    const row = siteOf(ctx.night, use);
    return row && !isOut(ctx.kit, ctx.night, row) ? row.site : null;
  };
  return Object.fromEntries(USES.map((use) => [use, place(use)]));
}
/** The one needle that is put in anew while the other stays where it is, or "". @param {Ctx} ctx */
const onlyOne = (ctx) => (ctx.night.stage === "before" ? "" : (ctx.night.plan.sheet?.only ?? ""));
/** @param {Ctx} ctx */
const todayOf = (ctx) => toWall(ctx.now().toISOString(), ctx.kit.patient.zone).slice(0, 10);
/** @param {Ctx} ctx */
const sitesOf = (ctx) => ctx.kit.access?.sites ?? [];
/** @param {Ctx} ctx */
const nameOf = (ctx, id) => sitesOf(ctx).find((site) => site.id === id)?.name;

/** @param {Ctx} ctx */
function turnOf(ctx, [asked]) {
  const picked = pickedOf(ctx);
  const wanted = active ?? (USES.includes(asked) ? asked : null);
  return (wanted ?? USES.find((use) => picked[use] == null) ?? onlyOne(ctx)) || "arterial";
}

/** @param {Ctx} ctx */
const gaveUp = (ctx, site) => ctx.night.doc.sites.some((row) => row.site === site.id && isOut(ctx.kit, ctx.night, row));

/** Where a needle was tried in vain and every other place is gone too. @param {Ctx} ctx */
function isStuck(ctx, use) {
  const row = siteOf(ctx.night, use);
  const failed = row && (isGivenUp(row) || row.flash === false || row.flushed === false);
  return failed && !placesLeft(ctx.kit, ctx.night, use).length;
}

/** What this screen says of needles, or of the two sides of a catheter. @param {Ctx} ctx */
const words = (ctx) =>
  ofCatheter(ctx)
    ? {
        title: t("The catheter"),
        first: t("First look at the catheter."),
        look: t("Look at the catheter"),
        which: t("For which side is the next touch?"),
        both: t("Choose both sides"),
        on: t("To the steps"),
      }
    : {
        title: t("Where the needles go"),
        first: t("First look, feel and listen."),
        look: t("Look, feel, listen"),
        which: t("For which needle is the next touch?"),
        both: t("Choose both sites"),
        on: t("To the needles"),
      };

/** Both sides of a catheter, where each can only be the one; nobody is asked what the catheter itself says. */
function onlySides(ctx) {
  const sides = USES.map((use) => sitesOf(ctx).filter((site) => site.use === use));
  return ofCatheter(ctx) && sides.every((found) => found.length === 1) && sitesOf(ctx).length === USES.length
    ? sides.flat()
    : null;
}

/** @param {Ctx} ctx */
function takeSides(ctx, sides) {
  ctx.change(t("Both sides: {names}", { names: sides.map(({ name }) => name).join(", ") }), (night) => {
    for (const site of sides) takeSite(night, site.use, site.id);
  });
  go("needles");
}

/** @param {Ctx} ctx */
function pick(ctx, use, site) {
  const other = USES.find((each) => each !== use);
  if (other && pickedOf(ctx)[other] === site.id)
    return toast(t("{site} is taken for the other needle: two needles need two places.", { site: site.name }));
  if (siteOf(ctx.night, use)?.site === site.id && gaveUp(ctx, site))
    return toast(t("{site} was given up this time: choose another place.", { site: site.name }));
  active = other && pickedOf(ctx)[other] == null ? other : use;
  // The undo bar is in sight wherever the touch was: what speaks against the site is said there too.
  const said = warnings(sitesOf(ctx), { ...pickedOf(ctx), [use]: site.id }, use, todayOf(ctx));
  const label = t("{use}: {site}", { use: useWords(use), site: site.name });
  ctx.change([label, ...said].join(". "), (night) => takeSite(night, use, site.id));
}

/** @param {Ctx} ctx */
function turns(ctx, use, picked) {
  const turn = (each) => {
    const name = nameOf(ctx, picked[each]);
    const take = () => {
      active = each;
      ctx.redraw();
    };
    return h(
      "button",
      {
        type: "button",
        class: `choice turn ${each}${name ? " chosen" : ""}`,
        aria: { pressed: each === use },
        data: { k: `turn-${each}` },
        on: { click: take },
      },
      h("small", { text: useWords(each) }),
      h("span", { text: name ?? t("choose") }),
    );
  };
  return h("div", { class: "pair", role: "group", aria: { label: words(ctx).which } }, USES.map(turn));
}

/** @param {Ctx} ctx */
function listed(ctx, use, picked, today) {
  const sites = sitesOf(ctx);
  const longest = USES.map((each) => longestRested(sites, each, today));
  const row = (site, index) => {
    const chosen = USES.filter((each) => picked[each] === site.id).map((each) =>
      t("chosen for {use}", { use: useWords(each) }),
    );
    const told = [
      ofCatheter(ctx) ? useWords(site.use) : siteWords(site, today),
      gaveUp(ctx, site) && t("given up this time"),
      !ofCatheter(ctx) && longest.includes(site.id) && t("longest rested"),
      site.uses_30 && !ofCatheter(ctx) ? tn("{n} use in 30 days", "{n} uses in 30 days", site.uses_30) : null,
      ...chosen,
    ];
    const look = `choice site-row ${site.use}${stateOf(site, today).resting ? " resting" : ""}`;
    const press = {
      class: look,
      aria: { pressed: picked[use] === site.id },
      on: { click: () => pick(ctx, use, site) },
    };
    const said = h("span", null, site.name, h("small", { text: told.filter(Boolean).join(" · ") }));
    return h(
      "button",
      { type: "button", ...press, data: { k: `site-${site.id}` } },
      h("b", { class: "number", text: String(index + 1) }),
      said,
    );
  };
  return h("div", { class: "site-list" }, sites.map(row));
}

/** @param {Ctx} ctx */
function draw(ctx, params) {
  if (!ctx.night) return note(t("No treatment is open."));
  const sites = sitesOf(ctx);
  if (!sites.length)
    return note(t("The unit has put no sites of your access on this phone. Choose as you were trained."));
  const use = turnOf(ctx, params);
  const [picked, today] = [pickedOf(ctx), todayOf(ctx)];
  // Of a needle that is in and stays in, nothing is asked any more.
  const concerned = ctx.night.stage === "before" ? USES : USES.filter((each) => each === onlyOne(ctx));
  const warned = [...new Set(concerned.flatMap((each) => warnings(sites, picked, each, today)))];
  return [
    openChecks(ctx, "access").length ? note(words(ctx).first) : null,
    turns(ctx, use, picked),
    isStuck(ctx, use) &&
      note(
        noneLeft(),
        "care",
        bigButton(t("What to do without another place"), () => go("noplace", use), { data: { k: "no-place" } }),
      ),
    warned.length
      ? note(
          warned[0],
          "care",
          warned.slice(1).map((text) => h("p", { text })),
        )
      : null,
    limbPicture(ctx.kit.access, { picked, today, onPick: (site) => pick(ctx, use, site) }),
    h("p", { class: "soft", text: t("A sketch, not to scale. Arrows show which way the blood runs.") }),
    listed(ctx, use, picked, today),
  ].filter(Boolean);
}

/** @param {Ctx} ctx */
function bar(ctx) {
  if (!ctx.night) return [{ label: t("Tonight"), go: "tonight" }];
  if (openChecks(ctx, "access").length) return [{ label: words(ctx).look, go: ["checks", "access"] }];
  const picked = pickedOf(ctx);
  const same = picked.arterial != null && picked.arterial === picked.venous;
  const missing = sitesOf(ctx).length && (same || USES.some((use) => picked[use] == null));
  const { both, on } = words(ctx);
  const sides = missing && onlySides(ctx);
  const next = sides
    ? { label: on, tap: () => takeSides(ctx, sides) }
    : {
        label: missing ? (same ? t("Choose two different sites") : both) : on,
        go: "needles",
        disabled: Boolean(missing),
      };
  return [next, { label: t("The checks again"), go: ["checks", "access", "all"] }];
}

register("access", { title: (ctx) => words(ctx).title, draw, bar });
