/* Small pictures of numbers over nights, built as SVG by script; every style is a class. */

import { h, svg } from "./ui.js";
import { fmt, shortDay, t } from "./words.js";

const SIZE = { width: 320, right: 8, top: 10, plot: 120 };
/** Of the page's letters; the picture makes room for them, however large they are. */
const TICK = 0.75;
const MARKS = [
  (x, y) => svg("circle", { class: "mark one", cx: x, cy: y, r: 2.6 }),
  (x, y) => svg("rect", { class: "mark two", x: x - 2.8, y: y - 2.8, width: 5.6, height: 5.6 }),
];

/**
 * An axis is never shorter than this share of its greatest value: the error of a measurement is no mountain. The unit
 * draws by the same share (dosing/services/numbers/axes.py).
 */
const LEAST_SPAN = 0.1;

/** Both ends of an axis of these values, with room above and below. @param {number[]} values */
export function endsOf(values) {
  const [low, high] = [Math.min(...values), Math.max(...values)];
  const least = LEAST_SPAN * Math.max(Math.abs(low), Math.abs(high)) || 1;
  const room = Math.max((high - low) * 0.08, (least - (high - low)) / 2);
  return [low - room, high + room];
}

/** Round steps of 1, 2 or 5 that give two to five lines between two values. */
function gridOf(low, high) {
  const span = high - low;
  const power = 10 ** Math.floor(Math.log10(span / 2));
  const step = [1, 2, 5, 10].map((each) => each * power).find((each) => span / each <= 4) ?? span;
  const first = Math.ceil(low / step - 1e-9);
  return Array.from({ length: Math.floor(high / step + 1e-9) - first + 1 }, (_, index) =>
    Number(((first + index) * step).toPrecision(12)),
  );
}

const letters = () => TICK * parseFloat(getComputedStyle(document.documentElement).fontSize);

function scales(nights, values) {
  const [from, to] = [Date.parse(nights[0].started_at), Date.parse(nights.at(-1).started_at)];
  const [low, high] = endsOf(values);
  const grid = gridOf(low, high);
  const longest = Math.max(...grid.map((each) => fmt(each, decimalsFor(grid)).length));
  const left = Math.ceil(longest * 0.65 * letters()) + 8;
  const wide = SIZE.width - left - SIZE.right;
  const round = (number) => Math.round(number * 10) / 10;
  return {
    x: (iso) => round(left + (to === from ? 0.5 : (Date.parse(iso) - from) / (to - from)) * wide),
    y: (value) => round(SIZE.top + ((high - value) / (high - low)) * SIZE.plot),
    grid,
    left,
    height: Math.ceil(SIZE.top + SIZE.plot + 1.8 * letters()),
  };
}

function line(nights, { of }, index, { x, y }) {
  const points = nights.filter((night) => of(night) != null).map((night) => [x(night.started_at), y(of(night))]);
  return [
    svg("polyline", { class: `line ${index ? "two" : "one"}`, points: points.map((each) => each.join(",")).join(" ") }),
    points.map(([px, py]) => MARKS[index](px, py)),
  ];
}

function limitLine(nights, limit, { x, y }) {
  const points = nights
    .filter((night) => limit.of(night) != null)
    .map((night) => `${x(night.started_at)},${y(limit.of(night))}`);
  return points.length ? svg("polyline", { class: "line limit", points: points.join(" ") }) : null;
}

const decimalsFor = (grid) => Math.max(0, ...grid.map((each) => (String(each).split(".")[1] ?? "").length));

function axes(nights, { x, y, grid, left, height }) {
  const lines = grid.map((value) => [
    svg("line", { class: "grid", x1: left, x2: SIZE.width - SIZE.right, y1: y(value), y2: y(value) }),
    svg(
      "text",
      { class: "tick", x: left - 5, y: y(value) + letters() / 3, "text-anchor": "end" },
      fmt(value, decimalsFor(grid)),
    ),
  ]);
  const ends = [[nights[0], "start"], ...(nights.length > 1 ? [[nights.at(-1), "end"]] : [])];
  return [
    lines,
    ends.map(([night, anchor]) =>
      svg(
        "text",
        { class: "tick", x: x(night.started_at), y: height - letters() / 2, "text-anchor": anchor },
        shortDay(night.started_at),
      ),
    ),
  ];
}

function key(series, limit) {
  const signs = ["●", "□"];
  const entries =
    series.length > 1 || limit
      ? series.map(({ name }, index) => h("li", { class: index ? "two" : "one" }, `${signs[index]} ${name}`))
      : [];
  return entries.length || limit
    ? h("ul", { class: "legend" }, entries, limit && h("li", { class: "limit" }, `┄ ${limit.name}`))
    : null;
}

function table(nights, series, limit, title, decimals) {
  const columns = [...series, ...(limit ? [limit] : [])];
  const rows = [...nights].reverse().filter((night) => columns.some(({ of }) => of(night) != null));
  return h(
    "details",
    null,
    h("summary", { text: t("As a table") }),
    h(
      "div",
      { class: "wide" },
      h(
        "table",
        null,
        h("caption", { text: title }),
        h(
          "thead",
          null,
          h(
            "tr",
            null,
            h("th", { scope: "col", text: t("Night") }),
            columns.map(({ name }) => h("th", { scope: "col", text: name })),
          ),
        ),
        h(
          "tbody",
          null,
          rows.map((night) =>
            h(
              "tr",
              null,
              h("th", { scope: "row", text: shortDay(night.started_at) }),
              columns.map(({ of }) => h("td", { text: fmt(of(night), decimals) })),
            ),
          ),
        ),
      ),
    ),
  );
}

/**
 * nights: oldest first, each with started_at. series: [{name, of(night) -> number or null}], one or two. limit: the
 * same for a dashed line. sentence: what the picture says, computed. -> a figure with picture, sentence and table, or a
 * note where there is nothing to draw.
 */
export function trend({ title, unit, nights, series, limit = null, sentence, decimals = 0 }) {
  const values = [...series, ...(limit ? [limit] : [])]
    .flatMap(({ of }) => nights.map(of))
    .filter((value) => value != null);
  const heading = h("h2", { text: unit ? `${title} (${unit})` : title });
  if (!series.some(({ of }) => nights.some((night) => of(night) != null)))
    return h("section", { class: "trend" }, heading, h("p", { text: t("Nothing is known yet.") }));
  const scale = scales(nights, values);
  const picture = svg(
    "svg",
    {
      class: "picture",
      viewBox: `0 0 ${SIZE.width} ${scale.height}`,
      role: "img",
      aria: { label: `${title}. ${sentence}` },
    },
    axes(nights, scale),
    limit && limitLine(nights, limit, scale),
    series.map((each, index) => line(nights, each, index, scale)),
  );
  return h(
    "section",
    { class: "trend" },
    heading,
    h("p", { class: "says", text: sentence }),
    picture,
    key(series, limit),
    table(nights, series, limit, title, decimals),
  );
}
