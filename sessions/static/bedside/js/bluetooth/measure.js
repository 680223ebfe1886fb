/* A row that takes values from a cuff or a scale: they arrive as a proposal, and one touch takes them over. */

import { minutesBetween, toWall } from "../clock.js";
import { limitsOf, takeNumber } from "../draft.js";
import { decimalsOf, inWords, keptOf, oddity, refusal, shown, toldOf } from "../numbers.js";
import { announce, bigButton, h, note } from "../ui.js";
import { t } from "../words.js";
import { available, forgetDevice, listen } from "./devices.js";

const OLD_MINUTES = 15;
/** While blood runs nobody is asked whether a low pressure is right, typed or measured: what to do now is told. */
const DURING = /^(readings|events)/;
const rows = new Map();

const words = () => ({
  pressure: {
    measure: t("Measure with the cuff"),
    wait: t("Start the cuff now. The value will appear here."),
    failed: t("The cuff could not measure. Try again."),
  },
  weight: {
    measure: t("Weigh with the scale"),
    wait: t("Step on the scale now. The value will appear here."),
    failed: t("The scale could not weigh. Try again."),
  },
});

const doubtWords = () => ({
  moved: t("the arm moved"),
  loose: t("the cuff was loose"),
  irregular: t("the pulse was irregular"),
  fast: t("the pulse was too fast to measure well"),
  slow: t("the pulse was too slow to measure well"),
  position: t("the arm lay too high or too low"),
});

/** What was measured -> [{name, value, limits}], rounded to the step of the field. */
function proposals({ ctx, paths, measured }) {
  return Object.entries(paths(null))
    .filter(([name]) => measured[name] != null)
    .map(([name, path]) => {
      const limits = limitsOf(ctx.kit, path);
      const told = Number(shown(toldOf({ told: limits?.told }, measured[name]), decimalsOf(limits?.step)));
      return { name, limits, asks: !DURING.test(path), value: limits?.told ? keptOf(limits, told) : told };
    });
}

/** What is to be known before the value is taken over, in words. @param {Ctx} ctx */
function cautions(ctx, measured, values) {
  const said = (measured.doubts ?? []).map((doubt) => doubtWords()[doubt]);
  const odd = values.map(({ limits, value, asks }) => asks && limits && oddity(limits, value));
  const wall = toWall(ctx.now().toISOString(), ctx.kit.patient.zone);
  const apart = measured.at ? Math.abs(minutesBetween(`${wall}:00Z`, `${measured.at}Z`)) : 0;
  return [
    said.length && t("The cuff says: {doubts}.", { doubts: said.join(", ") }),
    apart > OLD_MINUTES &&
      t("The device says that it measured at {time}: an old value, or its clock is wrong.", {
        time: measured.at.slice(0, 16).replace("T", " "),
      }),
    measured.user != null && t("Measured as user {n} of the device.", { n: measured.user }),
    ...odd,
  ].filter(Boolean);
}

function valueWords(kind, values) {
  const [first, second, third] = values.map(({ limits, value }) => inWords(limits, value));
  if (kind === "weight") return first;
  const pair = [values[0]?.value, second].filter((each) => each != null).join(" / ");
  return third ? `${pair}, ${t("pulse")} ${third}` : pair;
}

/** @param {Ctx} ctx */
function proposal(ctx, row) {
  const values = proposals(row);
  const refused = values.map(({ limits, value }) => limits && refusal(limits, value)).filter(Boolean);
  const enough =
    row.kind === "weight" ? values.length : row.measured.systolic != null && row.measured.diastolic != null;
  if (!enough || refused.length) return [note(refused.join(" ") || words()[row.kind].failed, "care")];
  const shownValue = valueWords(row.kind, values);
  const warned = cautions(ctx, row.measured, values);
  const take = () => {
    const { stop } = row;
    Object.assign(row, { phase: "idle", measured: null, stop: null });
    stop?.();
    ctx.change(t("Taken over: {value}", { value: shownValue }), (night) => {
      const paths = row.paths(night);
      // An unusual value counts as confirmed: the question stood above the button.
      for (const { name, value, limits, asks } of values)
        takeNumber(night, paths[name], value, asks ? limits : undefined);
    });
  };
  return [
    ...warned.map((text) => note(text, "care")),
    bigButton(t("Take over {value}", { value: shownValue }), take, { tone: "go", data: { k: `take-${row.kind}` } }),
  ];
}

async function begin(row) {
  Object.assign(row, { phase: "waiting", measured: null });
  paint(row);
  const hear = (measured) => {
    Object.assign(row, { phase: "got", measured });
    paint(row);
    announce(t("A value has arrived."));
  };
  try {
    row.stop = await listen(row.kind, hear, () => fail(row, t("The device sent something that is no measurement.")));
  } catch (problem) {
    forgetDevice(row.kind);
    // NotFoundError is what browsers say when the person closed the choice of devices.
    if (/** @type {Error} */ (problem).name === "NotFoundError") fail(row, "");
    else fail(row, t("No connection to the device. Is it on, and near?"));
  }
}

function halt(row) {
  row.stop?.();
  fail(row, "");
}

function fail(row, why) {
  Object.assign(row, { phase: "idle", why });
  paint(row);
}

/** @param {Ctx} ctx */
function inside(ctx, row) {
  const said = words()[row.kind];
  if (row.phase === "waiting")
    return [note(said.wait), bigButton(t("Stop waiting"), () => halt(row), { data: { k: `halt-${row.kind}` } })];
  const again = bigButton(row.phase === "got" ? t("Measure again") : said.measure, () => begin(row), {
    data: { k: `measure-${row.kind}` },
  });
  if (row.phase === "got") return [...proposal(ctx, row), again];
  return [row.why ? note(row.why, "care") : null, again].filter(Boolean);
}

function paint(row) {
  row.node?.replaceChildren(...inside(row.ctx, row));
}

/**
 * kind "pressure" with paths {systolic, diastolic, pulse?}, or "weight" with {weight}: paths of the treatment document.
 * paths may be a function instead: called with null it tells where the limits are found, called with the night it makes
 * the row that is written to. Answers a node, or null without Web Bluetooth.
 * @param {Ctx} ctx
 */
export function measureRow(ctx, kind, paths) {
  if (!available()) return null;
  const find = typeof paths === "function" ? paths : () => paths;
  const key = JSON.stringify([kind, find(null), ctx.night?.id]);
  if (!rows.has(key)) rows.set(key, { phase: "idle", why: "" });
  const row = Object.assign(rows.get(key), { kind, paths: find, ctx, node: h("div", { class: "measure" }) });
  paint(row);
  return row.node;
}
