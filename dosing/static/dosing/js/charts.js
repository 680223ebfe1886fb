// Draw the figures the page carries as data. Colours are read from the page's own properties, so that a figure
// follows the light and the dark theme; Plotly gets no inline style and no mode bar.

const LANGUAGE = document.documentElement.lang || "en";
const OF_PAGE = "page";
const CONFIG = { displayModeBar: false, responsive: true, locale: OF_PAGE };

// Days and months in the language of the page: the library has only English until it is told others. They have a name
// of their own: under that of English they would take the place of what it falls back to, and nothing could be drawn.
function named(first, count, step, options) {
  const maker = new Intl.DateTimeFormat(LANGUAGE, { ...options, timeZone: "UTC" });
  return Array.from({ length: count }, (_, index) => maker.format(new Date(first + index * step)));
}
const DAY = 86_400_000;
const SUNDAY = Date.UTC(2026, 0, 4);
const MID_JANUARY = Date.UTC(2026, 0, 15);
window.Plotly.register({
  moduleType: "locale",
  name: OF_PAGE,
  format: {
    days: named(SUNDAY, 7, DAY, { weekday: "long" }),
    shortDays: named(SUNDAY, 7, DAY, { weekday: "short" }),
    months: named(MID_JANUARY, 12, 30.4 * DAY, { month: "long" }),
    shortMonths: named(MID_JANUARY, 12, 30.4 * DAY, { month: "short" }),
  },
});

function property(name) {
  return getComputedStyle(document.documentElement).getPropertyValue(name).trim();
}

function coloured(value) {
  if (typeof value === "string" && value.startsWith("--")) return property(value);
  if (Array.isArray(value)) return value.map(coloured);
  if (value !== null && typeof value === "object") {
    return Object.fromEntries(Object.entries(value).map(([name, inner]) => [name, coloured(inner)]));
  }
  return value;
}

function themed(layout) {
  const axis = { gridcolor: property("--line"), linecolor: property("--edge"), tickcolor: property("--edge") };
  const axes = Object.keys(layout).filter((name) => /^[xy]axis/.test(name));
  return {
    ...layout,
    ...Object.fromEntries(axes.map((name) => [name, { ...axis, ...layout[name] }])),
    paper_bgcolor: "rgba(0,0,0,0)",
    plot_bgcolor: "rgba(0,0,0,0)",
    font: { color: property("--ink"), family: property("--font"), size: 13 },
    hoverlabel: { bgcolor: property("--card"), bordercolor: property("--edge"), font: { color: property("--ink") } },
  };
}

function draw() {
  /** @type {NodeListOf<HTMLElement>} */
  const boxes = document.querySelectorAll("[data-figure]");
  for (const box of boxes) {
    const figure = JSON.parse(document.getElementById(box.dataset.figure ?? "")?.textContent ?? "null");
    window.Plotly.react(box, coloured(figure.data), themed(coloured(figure.layout)), CONFIG);
  }
}

draw();
document.body.addEventListener("htmx:afterSettle", draw); // a part that the page takes in may bring a figure
window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);
