/*
 * A sketch of the limb with this patient's sites. Places are kept as x and y from 0 to 1 on the picture as it is
 * seen: x from its left edge, y from its top, 0.5 and 0.5 in the middle. Only the limb is mirrored for the other
 * side; the places are not, because they were put on the picture that people see.
 */

import { svg } from "./ui.js";
import { plainDay, t, tn } from "./words.js";

const WIDE = 320;
const TALL = 440;
const TARGET = 32; // radius: 64 units, at least 56 px on a phone of 320 px
const GAP = 68;
const DAY_MS = 24 * 60 * 60 * 1000;

/** Left limbs, hands and feet down. Mirrored for the right. artery and vein run from top to bottom. */
const LIMBS = {
  forearm: {
    outline:
      "M118 10 C108 90 100 120 104 170 C110 250 130 300 134 345 C128 370 116 392 112 418 L122 426 L136 396 L136 " +
      "432 L150 432 L152 398 L158 434 L172 432 L168 396 L182 426 L194 420 L184 372 C204 366 210 350 206 344 " +
      "C196 350 190 344 188 336 C196 290 214 240 214 170 C214 110 206 80 204 10 Z",
    artery: "M176 14 C176 120 176 220 168 340",
    vein: "M142 14 C132 110 140 230 152 340",
  },
  upper_arm: {
    outline:
      "M92 60 C110 20 170 6 214 24 C226 90 222 160 214 230 C210 270 212 300 212 434 L118 434 C116 380 108 320 106 " +
      "270 C100 190 88 130 92 60 Z",
    artery: "M192 40 C192 140 180 220 164 330",
    vein: "M132 44 C124 140 132 230 142 330",
  },
  thigh: {
    outline:
      "M78 10 L242 10 C240 110 222 190 212 270 C208 310 212 350 208 434 L122 434 C122 370 124 330 118 290 C104 " +
      "200 82 110 78 10 Z",
    artery: "M184 14 C176 130 172 230 168 360",
    vein: "M148 14 C146 130 146 230 146 360",
  },
  neck_chest: {
    outline:
      "M128 10 L128 84 C110 104 66 106 30 124 C14 140 12 180 10 250 L26 434 L294 434 L310 250 C308 180 306 140 " +
      "290 124 C254 106 210 104 192 84 L192 10 Z",
    vein: "M138 30 C138 90 150 130 158 230",
  },
};

/** Days between two dates "2026-03-01"; null when one is missing. */
function daysBetween(before, after) {
  return before && after ? Math.round((Date.parse(after) - Date.parse(before)) / DAY_MS) : null;
}

/** What is to be known of a site on this date: {last (date), rested (days), resting}; null for what is not known. */
export function stateOf(site, today) {
  const last = [...(site.last_used ?? [])].sort().at(-1) ?? null;
  return {
    last,
    rested: daysBetween(last, today),
    resting: Boolean(site.resting || (site.rest_until && today <= site.rest_until)),
  };
}

/** The sites used on the latest night of all: in a rope ladder these should rest tonight. */
function usedLast(sites, today) {
  const latest = sites
    .map((site) => stateOf(site, today).last ?? "")
    .sort()
    .at(-1);
  return latest ? sites.filter((site) => stateOf(site, today).last === latest).map((site) => site.id) : [];
}

/** The longest rested site that may be used, for one use; null when nothing tells them apart. A fact, no advice. */
export function longestRested(sites, use, today) {
  const free = sites.filter((site) => site.use === use && !stateOf(site, today).resting);
  const days = (site) => stateOf(site, today).rested ?? Infinity;
  const most = Math.max(...free.map(days));
  const found = free.filter((site) => days(site) === most);
  return free.length > 1 && found.length === 1 ? found[0].id : null;
}

/** Why to look twice before a site is taken, in words; [] when nothing speaks against it. */
export function warnings(sites, picked, use, today) {
  const site = sites.find((each) => each.id === picked[use]);
  if (!site) return [];
  const other = picked[use === "arterial" ? "venous" : "arterial"];
  const ladder = site.technique === "rope_ladder";
  return [
    stateOf(site, today).resting && t("{site} is resting. The unit asked not to use it for now.", { site: site.name }),
    ladder &&
      usedLast(sites, today).includes(site.id) &&
      t("{site} was used at the last treatment.", { site: site.name }),
    other === site.id && t("The same site is chosen for both needles."),
    site.use !== use &&
      (use === "arterial"
        ? t("The unit lists {site} for blood back (vein).", { site: site.name })
        : t("The unit lists {site} for blood out (artery).", { site: site.name })),
  ].filter(Boolean);
}

/** Where the numbered circles stand: one column a side, in the order of the sites, never on top of each other. */
export function columns(sites) {
  const column = (use) => {
    const mine = sites.filter((site) => site.use === use).sort((one, other) => (one.y ?? 1) - (other.y ?? 1));
    let free = TARGET + 4;
    return mine.map((site) => {
      const y = Math.max(free, (site.y ?? 0) * TALL);
      free = y + GAP;
      return { site, x: use === "arterial" ? TARGET + 2 : WIDE - TARGET - 2, y };
    });
  };
  const places = ["arterial", "venous"].map(column);
  // A column that ran out at the bottom moves up as far as it must.
  for (const each of places) lift(each);
  return places.flat();
}

function lift(places) {
  let limit = Math.max(TALL, places.length * GAP) - TARGET - 4;
  for (const place of [...places].reverse()) {
    place.y = Math.min(place.y, limit);
    limit = place.y - GAP;
  }
}

/** @param {string} path */
function arrows(path, down, kind) {
  const measured = svg("path", { d: path });
  const length = measured.getTotalLength();
  const line = svg("path", { d: path, class: `vessel ${kind}` });
  const heads = [0.2, 0.5, 0.8].map((part) => {
    const [here, next] = [0, 1].map((ahead) => measured.getPointAtLength(length * part + ahead));
    const turn = (Math.atan2(next.y - here.y, next.x - here.x) * 180) / Math.PI + (down ? 0 : 180);
    return svg("path", {
      d: "M-7 -7 L4 0 L-7 7",
      class: "arrow",
      transform: `translate(${here.x} ${here.y}) rotate(${turn})`,
    });
  });
  return svg("g", {}, line, ...heads);
}

function limbOf(access) {
  const limb = LIMBS[access.picture?.limb] ?? LIMBS.forearm;
  const mirror = access.side === "right" ? `translate(${WIDE} 0) scale(-1 1)` : null;
  const vein = limb.vein && arrows(limb.vein, access.flow === "down" || !limb.artery, "vein");
  const artery = limb.artery && arrows(limb.artery, true, "artery");
  return svg(
    "g",
    { transform: mirror, "aria-hidden": "true" },
    svg("path", { d: limb.outline, class: "limb" }),
    artery,
    vein,
  );
}

function vesselNames(access) {
  const limb = LIMBS[access.picture?.limb] ?? LIMBS.forearm;
  if (!limb.artery) return [];
  const flip = access.side === "right";
  const name = (path, side, words) => {
    const x = Number(/^M(\d+)/.exec(path)?.[1]) + side * 12;
    const anchor = side > 0 === flip ? "end" : "start";
    return svg("text", { x: flip ? WIDE - x : x, y: 30, class: "vessel-name", "text-anchor": anchor }, words);
  };
  return [name(limb.artery, 1, t("artery")), name(limb.vein, -1, t("vein"))];
}

/** The words that go with a site: its state, never by colour alone. */
export function siteWords(site, today) {
  const { rested, resting } = stateOf(site, today);
  if (resting)
    return site.rest_until >= today ? t("resting until {day}", { day: plainDay(site.rest_until) }) : t("resting");
  if (rested == null) return t("no use on record");
  if (rested <= 0) return t("used today");
  return tn("used {n} day ago", "used {n} days ago", rested);
}

function mark(place, number, { picked, today }) {
  const { site, x, y } = place;
  const chosen = Object.keys(picked).filter((use) => picked[use] === site.id);
  const { resting } = stateOf(site, today);
  const names = ["site", site.use, resting && "resting", chosen.length && "picked"].filter(Boolean).join(" ");
  const put = site.x != null && site.y != null;
  const dot = put && { cx: site.x * WIDE, cy: site.y * TALL, r: 9 };
  return svg(
    "g",
    { class: names, "data-site": site.id },
    dot && svg("line", { x1: x, y1: y, x2: dot.cx, y2: dot.cy, class: "lead" }),
    dot && svg("circle", { ...dot, class: "dot" }),
    svg("circle", { cx: x, cy: y, r: TARGET, class: "target" }),
    chosen.length ? svg("circle", { cx: x, cy: y, r: TARGET - 5, class: "rim" }) : null,
    resting
      ? svg("path", {
          d:
            `M${x - 20} ${y + 20} L${x + 20} ${y - 20} M${x - 27} ${y + 6} L${x + 6} ${y - 27} ` +
            `M${x - 6} ${y + 27} L${x + 27} ${y - 6}`,
          class: "hatch",
        })
      : null,
    svg("text", { x, y: y + 8, "text-anchor": "middle" }, String(number)),
  );
}

function nearest(places, at) {
  const far = ({ site }) => (site.x == null ? Infinity : Math.hypot(site.x * WIDE - at.x, site.y * TALL - at.y));
  const [best] = [...places].sort((one, other) => far(one) - far(other));
  return best && far(best) <= TARGET ? best.site : null;
}

/**
 * The picture. access as in the kit; picked {arterial, venous} are ids; today is a date; onPick(site).
 * Numbers on it are those of `numbered`. Touching a circle or its place on the limb picks the site.
 */
export function limbPicture(access, { picked, today, onPick }) {
  const places = columns(access.sites);
  const order = access.sites.map((site) => site.id);
  const tall = Math.max(TALL, ...places.map((place) => place.y + TARGET + 4));
  const picture = svg(
    "svg",
    {
      viewBox: `0 0 ${WIDE} ${tall}`,
      class: "limb-picture",
      role: "img",
      "aria-label": t("Sketch of the access with its sites; the list beneath says the same."),
    },
    limbOf(access),
    ...vesselNames(access),
    ...places.map((place) => mark(place, order.indexOf(place.site.id) + 1, { picked, today })),
  );
  picture.addEventListener("click", (event) => {
    const touched = /** @type {Element} */ (event.target).closest("[data-site]");
    const id = /** @type {HTMLElement | null} */ (touched)?.dataset.site;
    const turned = new DOMPoint(event.clientX, event.clientY).matrixTransform(picture.getScreenCTM()?.inverse());
    const site = access.sites.find((each) => String(each.id) === id) ?? nearest(places, turned);
    if (site) onPick(site);
  });
  return picture;
}
