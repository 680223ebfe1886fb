/*
 * A night that was written on paper, typed in afterwards: one screen, every cell in the order of the sheet, by the
 * phone's own keyboard, whose key leads to the next cell. What is typed is kept with each letter; an empty cell stays
 * empty.
 */

import { textField } from "../ask.js";
import { bloodReturns, dialyserLooks, eventWords, kindsHere, useWords, yesNo } from "../choices.js";
import { later, toWall } from "../clock.js";
import { onPaper, setPath, shortOf, toggleField } from "../draft.js";
import { heparin } from "../heparin.js";
import { unitOf } from "../numbers.js";
import { askedOf, beganOnPaper, layOut, limitsAt, readNumber, sayRight, typedAt, wrongTime } from "../paper_sheet.js";
import { typed } from "../ready.js";
import { register } from "../router.js";
import { bigButton, choiceRow, h, note, toast } from "../ui.js";
import { clockTold, dayOf, plainDay, t, timeOf, twelve } from "../words.js";
import { limitWords } from "./checks.js";
import { nameWords } from "./medicine.js";

/** @param {Night} night */
const isPaper = (night) => night && night.stage !== "handed" && night.plan.paper;
/** @param {Ctx} ctx */
const checksOf = (ctx) => (ctx.kit.checklist?.items ?? []).filter((item) => item.part !== "after");

/** A sheet of the evening before, with its cells empty. @param {Ctx} ctx */
export function beginOnPaper(ctx) {
  const today = toWall(ctx.now().toISOString(), ctx.kit.patient.zone).slice(0, 10);
  const given = ["none", "other"].includes(ctx.kit.prescription?.anticoagulant)
    ? []
    : heparin(ctx.kit).filter((each) => each.prescribed != null);
  const sites = ctx.kit.access?.kind === "catheter" ? [] : [{ use: "arterial" }, { use: "venous" }];
  const medicines = given.map(({ name, unit }) => ({ name, unit, fixed: true }));
  ctx.begin();
  ctx.night.plan = {
    paper: {
      day: later(`${today}T12:00:00Z`, -24 * 60).slice(0, 10),
      sure: {},
      typed: { started_at: "", ended_at: "", checks: {}, sites, medicines, readings: [{}] },
    },
  };
  settle(ctx);
}

/** What was typed becomes the record, and is kept. @param {Ctx} ctx */
function keep(ctx) {
  layOut(ctx.night, ctx.kit);
  ctx.night.touched_at = new Date().toISOString();
  ctx.save();
}

/** @param {Ctx} ctx */
function settle(ctx) {
  keep(ctx);
  ctx.redraw();
}

/** @param {Ctx} ctx @param {string} path */
const write = (ctx, path, value) => setPath({ doc: ctx.night.plan.paper.typed }, path, value);

/* Cells -------------------------------------------------------------------------------------------- */

/** The key of the keyboard leads on, as down a sheet. */
function onward(event) {
  if (event.key !== "Enter") return;
  event.preventDefault();
  /** @type {NodeListOf<HTMLElement>} */
  const cells = document.querySelectorAll("#screen input, #screen textarea");
  const all = [...cells];
  all[all.indexOf(event.target) + 1]?.focus();
}

/** @type {Map<HTMLElement, () => void>} what stands beside each cell of the page is said anew by these */
const tells = new Map();

/** One cell can put another one into question. */
function tellAll() {
  for (const [said, tell] of tells) {
    if (said.isConnected) tell();
    else tells.delete(said);
  }
}

/** Words that stand already stay: a finger may be on its way to their button. @param {HTMLElement} said */
function say(said, nodes) {
  const words = nodes.map((each) => each.textContent).join(" ");
  if (said.dataset.words === words) return;
  said.dataset.words = words;
  said.replaceChildren(...nodes);
}

/**
 * A labelled cell: `judge()` gives words about what stands in it, or null, with a button where they are a question.
 * @param {Ctx} ctx @param {string} path
 */
function cell(ctx, path, label, judge, props = {}) {
  const id = `cell-${path}`;
  const said = h("div", { class: "said", role: "status" });
  const tell = () => say(said, [judge()].flat().filter(Boolean));
  tells.set(said, tell);
  const input = h("input", {
    id,
    type: "text",
    autocomplete: "off",
    enterkeyhint: "next",
    maxlength: 20,
    ...props,
    data: { path },
    aria: { describedby: `${id}-said` },
    on: {
      input: () => {
        write(ctx, path, typed(input.value));
        keep(ctx);
        say(said, []);
      },
      change: tellAll,
      keydown: onward,
    },
  });
  said.id = `${id}-said`;
  input.value = typedAt(ctx.night, path);
  tell();
  return h("div", { class: "cell" }, h("label", { for: id, text: label }), input, said);
}

const problem = (words) => words && h("p", { class: "problem", text: words });

/** The touch that answers what is asked of a cell. @param {Ctx} ctx @param {string} path */
export function isRight(ctx, path) {
  const yes = () => {
    sayRight(ctx.night, ctx.kit, path);
    settle(ctx);
  };
  return bigButton(t("Yes, it is right"), yes, { data: { k: `yes-${path}` } });
}

/** @param {Ctx} ctx @param {string} path */
function question(ctx, path) {
  const words = askedOf(ctx.night, path);
  return words ? [h("p", { text: words }), isRight(ctx, path)] : null;
}

/** @param {Ctx} ctx @param {string} path */
function numberCell(ctx, path, name = shortOf(ctx.kit, path)) {
  const limits = limitsAt(ctx.night, ctx.kit, path);
  const label = [name, unitOf(limits)].filter(Boolean).join(", ");
  const judge = () => {
    const { wrong } = readNumber(limitsAt(ctx.night, ctx.kit, path), String(typedAt(ctx.night, path)));
    return wrong ? problem(wrong) : question(ctx, path);
  };
  // A keypad of figures has no minus sign on some phones.
  return cell(ctx, path, label, judge, { inputmode: limits.hard[0] < 0 ? "text" : "decimal" });
}

/** @param {Ctx} ctx @param {string} path */
const timeCell = (ctx, path, label) =>
  cell(ctx, path, label, () => problem(wrongTime(ctx.night, path)) || question(ctx, path) || beganWords(ctx, path), {
    inputmode: twelve() ? "text" : "numeric",
    placeholder: clockTold("21:30"),
  });

/** The moment that a start is taken for: after midnight the day above is easily the wrong one. @param {Ctx} ctx */
function beganWords(ctx, path) {
  const began = path === "started_at" && beganOnPaper(ctx.night, ctx.kit);
  return began && h("p", { class: "soft", text: t("{day} at {time}", { day: dayOf(began), time: timeOf(began) }) });
}
/** @param {Ctx} ctx @param {string} path */
const wordCell = (ctx, path, label) => cell(ctx, path, label, () => null, { maxlength: 200 });

/** @param {Ctx} ctx @param {string} path */
function pick(ctx, path, label, options) {
  const select = h(
    "select",
    {
      id: `cell-${path}`,
      data: { path },
      on: {
        change: () => {
          write(ctx, path, select.value);
          keep(ctx);
        },
      },
    },
    options.map(([value, words]) => h("option", { value, text: words })),
  );
  select.value = typedAt(ctx.night, path);
  return h("div", { class: "cell wide" }, h("label", { for: select.id, text: label }), select);
}

const grid = (...cells) => h("div", { class: "paper-grid" }, cells);
const part = (label, ...cells) => h("section", { aria: { label } }, h("h2", { text: label }), grid(cells));

/* Lines that come as often as they are needed --------------------------------------------------------- */

/** @param {Ctx} ctx */
function addLine(ctx, list, row = {}) {
  const { typed } = ctx.night.plan.paper;
  typed[list] = [...(typed[list] ?? []), row];
  settle(ctx);
  document.getElementById(`cell-${list}[${typed[list].length - 1}].at`)?.focus();
}

/**
 * A line goes, and comes back where it was by the undo bar. What was said of unusual numbers goes by place: asked anew.
 * @param {Ctx} ctx
 */
function dropLine(ctx, list, index) {
  const { paper } = ctx.night.plan;
  const before = paper.typed[list];
  paper.typed[list] = before.filter((_, each) => each !== index);
  paper.sure = Object.fromEntries(Object.entries(paper.sure).filter(([path]) => !path.startsWith(list)));
  settle(ctx);
  toast(t("Line removed"), () => {
    paper.typed[list] = before;
    settle(ctx);
  });
}

/** @param {Ctx} ctx */
function lines(ctx, list, cellsOf, add, row = {}) {
  const rows = ctx.night.plan.paper.typed[list] ?? [];
  return [
    rows.map((each, index) =>
      h(
        "section",
        { class: "line", aria: { label: t("Line {n}", { n: index + 1 }) } },
        grid(cellsOf(`${list}[${index}]`, each)),
        !each.fixed &&
          bigButton(t("Remove this line"), () => dropLine(ctx, list, index), { data: { k: `drop-${list}-${index}` } }),
      ),
    ),
    bigButton(add, () => addLine(ctx, list, row), { data: { k: `add-${list}` } }),
  ];
}

/** @param {Ctx} ctx */
const readingCells = (ctx) => (row) => [
  timeCell(ctx, `${row}.at`, t("Time")),
  onPaper(ctx.kit, "readings").map((name) => numberCell(ctx, `${row}.${name}`)),
];

/** @param {Ctx} ctx */
const eventCells = (ctx) => (row) => [
  timeCell(ctx, `${row}.at`, t("Time")),
  pick(ctx, `${row}.kind`, t("What"), [
    ["", t("choose")],
    ...kindsHere(ctx.kit).map((kind) => [kind, eventWords(ctx.kit, kind)]),
  ]),
  wordCell(ctx, `${row}.note`, t("Note")),
];

const medicineCells =
  (ctx) =>
  (row, { name, fixed }) => [
    timeCell(ctx, `${row}.at`, t("Time")),
    fixed ? null : wordCell(ctx, `${row}.name`, t("Name")),
    numberCell(ctx, `${row}.amount`, fixed ? nameWords(ctx.kit, name) : undefined),
    fixed ? null : wordCell(ctx, `${row}.unit`, t("Unit")),
  ];

/* Parts of the sheet ---------------------------------------------------------------------------------- */

/** @param {Ctx} ctx */
function moveDay(ctx, days) {
  const { paper } = ctx.night.plan;
  paper.day = later(`${paper.day}T12:00:00Z`, days * 24 * 60).slice(0, 10);
  settle(ctx);
}

/** @param {Ctx} ctx */
function whenPart(ctx) {
  return [
    h(
      "div",
      { class: "day-row", role: "group", aria: { label: t("Day on which it began") } },
      bigButton("‹", () => moveDay(ctx, -1), { aria: { label: t("A day earlier") }, data: { k: "earlier" } }),
      h("p", { class: "figure", text: plainDay(ctx.night.plan.paper.day) }),
      bigButton("›", () => moveDay(ctx, 1), { aria: { label: t("A day later") }, data: { k: "later" } }),
    ),
    grid(timeCell(ctx, "started_at", t("Start")), timeCell(ctx, "ended_at", t("End"))),
  ];
}

/** @param {Ctx} ctx */
function needlesPart(ctx) {
  const { sites } = ctx.night.plan.paper.typed;
  const known = (use) =>
    (ctx.kit.access?.sites ?? []).filter((site) => site.use === use).map((site) => [String(site.id), site.name]);
  const one = ({ use }, index) => [
    h("h3", { text: useWords(use) }),
    grid(
      pick(ctx, `sites[${index}].site`, t("Site"), [["", t("choose")], ...known(use)]),
      onPaper(ctx.kit, "sites").map((name) => numberCell(ctx, `sites[${index}].${name}`)),
    ),
  ];
  return sites.length > 0 && [h("h2", { text: t("Needles") }), sites.map(one)];
}

/** @param {Ctx} ctx */
function checkRow(ctx, item) {
  const { checks } = ctx.night.plan.paper.typed;
  const good = Boolean(checks[item.key]?.good);
  const tick = () => {
    checks[item.key] = { ...checks[item.key], good: !good };
    settle(ctx);
  };
  return h(
    "button",
    { type: "button", class: "choice", aria: { pressed: good }, data: { k: `check-${item.key}` }, on: { click: tick } },
    h("span", { text: item.name }),
  );
}

/** @param {Ctx} ctx */
function checksPart(ctx) {
  const items = checksOf(ctx);
  const ticked = items.filter((item) => !item.asks_value);
  const { checks } = ctx.night.plan.paper.typed;
  const all = () => {
    for (const item of ticked) checks[item.key] = { ...checks[item.key], good: true };
    settle(ctx);
  };
  const left = ticked.filter((item) => !checks[item.key]?.good).length;
  return (
    items.length > 0 && [
      part(
        t("Checks before"),
        items
          .filter((item) => item.asks_value)
          .map((item) =>
            numberCell(ctx, `checks.${item.key}.value`, [item.name, limitWords(item)].filter(Boolean).join(", ")),
          ),
      ),
      left
        ? bigButton(t("All are ticked on the sheet"), all, { data: { k: "all-good" } })
        : note(t("All checks are answered, as the sheet says. Nobody else has looked."), "good"),
      h(
        "details",
        null,
        h("summary", { text: t("One by one") }),
        h(
          "div",
          { class: "ticks" },
          ticked.map((item) => checkRow(ctx, item)),
        ),
      ),
    ]
  );
}

/** @param {Ctx} ctx */
function machinePart(ctx) {
  const { doc } = ctx.night;
  const chosen = (path) => (value) => {
    toggleField(ctx.night, path, value);
    settle(ctx);
  };
  return [
    part(
      t("Fluid and machine"),
      onPaper(ctx.kit, "fluid").map((path) => numberCell(ctx, path)),
    ),
    choiceRow(t("Blood in the lines"), bloodReturns(), doc.blood_return, chosen("blood_return")),
    choiceRow(t("Look of the dialyser"), dialyserLooks(), doc.dialyser_look, chosen("dialyser_look")),
    choiceRow(t("Machine disinfected"), yesNo(), doc.disinfected, chosen("disinfected")),
  ];
}

/** @param {Ctx} ctx */
function draw(ctx) {
  if (!isPaper(ctx.night)) {
    const busy =
      ctx.busy() && note(t("A treatment is under way. It stays as it is; go on with it under “Tonight”."), "care");
    return [
      busy,
      h("p", {
        text: t(
          "For a night that you wrote on the paper sheet: one page, in the order of the sheet. The record says " +
            "that it came from paper.",
        ),
      }),
    ];
  }
  return [
    whenPart(ctx),
    needlesPart(ctx),
    checksPart(ctx),
    machinePart(ctx),
    part(
      t("Before"),
      onPaper(ctx.kit, "before").map((path) => numberCell(ctx, path)),
    ),
    part(
      t("After"),
      onPaper(ctx.kit, "after").map((path) => numberCell(ctx, path)),
    ),
    h("h2", { text: t("Readings") }),
    lines(ctx, "readings", readingCells(ctx), t("Add a line of readings")),
    h("h2", { text: t("What happened, what was given") }),
    lines(ctx, "events", eventCells(ctx), t("Add a symptom or an alarm"), { kind: "" }),
    lines(ctx, "medicines", medicineCells(ctx), t("Add a medicine"), { name: "", unit: "" }),
    textField(ctx, "notes", t("Notes")),
  ];
}

/** @param {Ctx} ctx */
function bar(ctx) {
  if (!isPaper(ctx.night))
    return [
      { label: t("Begin a night from paper"), tap: () => beginOnPaper(ctx) },
      { label: t("Tonight"), go: "tonight" },
    ];
  return [{ label: t("Look it over"), go: "summary" }];
}

register("paper", { title: () => t("From paper"), draw, bar });
