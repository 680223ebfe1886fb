/* A night that was written on paper, entered afterwards in the order of the sheet: pad after pad, an empty cell is left empty. */

import { askAll, textField, unset } from "../ask.js";
import { fromWall, later, toWall } from "../clock.js";
import { addReading, limitsOf, removeRow, takeNumber } from "../draft.js";
import { askNumber, numberField } from "../pad.js";
import { withUnit } from "../numbers.js";
import { register } from "../router.js";
import { bigButton, h, note, toast } from "../ui.js";
import { dayOf, t, timeOf, tn } from "../words.js";

const BEFORE = ["pre_weight_kg", "pre_systolic", "pre_diastolic"];
const AFTER = ["post_weight_kg", "post_systolic", "post_diastolic", "uf_removed_l", "blood_processed_l", "rinse_back_l", "intake_l"];
/** The columns of the sheet, in its order. */
const COLUMNS = ["qb_ml_min", "arterial_mmhg", "venous_mmhg", "tmp_mmhg", "uf_rate_ml_h", "uf_volume_l", "systolic", "diastolic", "pulse"];
const MARK = "[paper]";

const zone = (ctx) => ctx.kit.patient.zone;
const isPaper = (night) => night && night.stage !== "handed" && night.plan.paper;

function begin(ctx) {
  const wall = toWall(ctx.now().toISOString(), zone(ctx));
  ctx.begin();
  ctx.change(t("A night from paper"), (night) => {
    night.plan = { paper: true, day: toWall(later(fromWall(wall, zone(ctx)), -24 * 60), zone(ctx)).slice(0, 10) };
    night.doc.notes = `${MARK} ${t("Entered from paper.")} `;
    night.doc.checklist_version = night.doc.run_sheet_version = null;
  });
}

/** Four figures of a clock -> "21:30", undefined when left; told where they are no time. */
async function askClock(label) {
  const limits = { label, unit: t("hours and minutes, such as 2130"), hard: [0, 2359], usual: [0, 2359], step: 1 };
  const given = await askNumber({ label, limits, value: null, last: null });
  if (typeof given !== "number") return undefined;
  const text = String(Math.round(given)).padStart(4, "0");
  if (Number(text.slice(2)) < 60) return `${text.slice(0, 2)}:${text.slice(2)}`;
  toast(t("{text} is no time of day.", { text: `${text.slice(0, 2)}:${text.slice(2)}` }));
  return askClock(label);
}

/** A clock time on or after a moment: the night runs over midnight. */
function following(ctx, clock, after) {
  const first = fromWall(`${toWall(after, zone(ctx)).slice(0, 10)}T${clock}`, zone(ctx));
  return first >= after ? first : fromWall(`${toWall(later(first, 25 * 60), zone(ctx)).slice(0, 10)}T${clock}`, zone(ctx));
}

async function askStart(ctx) {
  const clock = await askClock(t("Start"));
  if (!clock) return false;
  const iso = fromWall(`${ctx.night.plan.day}T${clock}`, zone(ctx));
  ctx.change(t("Start: {time}", { time: clock }), (night) => { night.doc.started_at = iso; night.stage = "running"; });
  return true;
}

async function askEnd(ctx) {
  const clock = await askClock(t("End"));
  if (!clock) return false;
  ctx.change(t("End: {time}", { time: clock }), (night) => { night.doc.ended_at = following(ctx, clock, night.doc.started_at); night.stage = "after"; });
  return true;
}

function moveDay(ctx, days) {
  const noon = later(`${ctx.night.plan.day}T12:00:00Z`, days * 24 * 60);
  const day = noon.slice(0, 10);
  const shift = (iso) => (iso ? fromWall(`${later(`${toWall(iso, zone(ctx)).slice(0, 10)}T12:00:00Z`, days * 24 * 60).slice(0, 10)}T${toWall(iso, zone(ctx)).slice(11)}`, zone(ctx)) : iso);
  ctx.change(dayOf(noon), (night) => {
    night.plan = { ...night.plan, day };
    Object.assign(night.doc, { started_at: shift(night.doc.started_at), ended_at: shift(night.doc.ended_at) });
    for (const row of night.doc.readings) row.at = shift(row.at);
  });
}

/** One line of the sheet: its time, then each column; "Take it" on an empty pad leaves the cell empty, "Leave" ends the line. */
async function askReading(ctx) {
  const clock = await askClock(t("Time of the reading"));
  if (!clock) return false;
  const values = {};
  for (const name of COLUMNS) {
    const limits = limitsOf(ctx.kit, `readings.${name}`);
    const answer = await askNumber({ label: `${clock} · ${t(limits.label)}`, limits });
    if (answer === undefined) break;
    if (answer !== null) values[name] = answer;
  }
  ctx.change(t("Reading at {time}", { time: clock }), (night) => {
    const index = addReading(night, { ...values, at: following(ctx, clock, night.doc.started_at) });
    for (const name of Object.keys(values)) takeNumber(night, `readings[${index}].${name}`, values[name], limitsOf(ctx.kit, `readings.${name}`));
  });
  return true;
}

function readingRow(ctx, row, index) {
  const words = COLUMNS.filter((name) => row[name] != null).map((name) => withUnit(row[name], limitsOf(ctx.kit, `readings.${name}`).unit)).join(" · ");
  return h("li", null, h("strong", { text: timeOf(row.at) }), ` ${words || t("nothing written")} `, bigButton(t("Remove"), () => ctx.change(t("Reading removed"), (night) => removeRow(night, "readings", index)), { aria: { label: t("Remove the reading at {time}", { time: timeOf(row.at) }) }, data: { k: `remove-${row.at}` } }));
}

function dayRow(ctx) {
  const { plan } = ctx.night;
  return h("div", { class: "day-row", role: "group", aria: { label: t("Day on which it began") } },
    bigButton("‹", () => moveDay(ctx, -1), { aria: { label: t("A day earlier") }, data: { k: "earlier" } }),
    h("p", { class: "figure", text: dayOf(`${plan.day}T12:00:00Z`) }),
    bigButton("›", () => moveDay(ctx, 1), { aria: { label: t("A day later") }, data: { k: "later" } }));
}

function timeRow(ctx, label, iso, ask) {
  return h("button", { type: "button", class: "field", data: { k: label }, on: { click: () => ask(ctx) } }, h("span", { class: "label", text: label }), iso ? h("b", { text: timeOf(iso) }) : h("span", { class: "unset", text: t("not yet") }));
}

function draw(ctx) {
  if (!isPaper(ctx.night)) {
    const busy = ctx.busy() && note(t("A treatment is under way. It stays as it is; go on with it under “Tonight”."), "care");
    return [busy, h("p", { text: t("For a night that you wrote on the paper sheet. The record is the same; it says that it came from paper.") })];
  }
  const { doc } = ctx.night;
  return [
    h("h2", { text: t("When") }), dayRow(ctx), timeRow(ctx, t("Start"), doc.started_at, askStart), doc.started_at && timeRow(ctx, t("End"), doc.ended_at, askEnd),
    h("h2", { text: t("Before") }), BEFORE.map((path) => numberField(ctx, path)),
    h("h2", { text: t("Readings") }), doc.readings.length > 0 && h("ul", { class: "bare" }, doc.readings.map((row, index) => readingRow(ctx, row, index))),
    doc.started_at && bigButton(t("Add a line of the sheet"), () => askReading(ctx), { data: { k: "add-line" } }),
    h("h2", { text: t("After") }), AFTER.map((path) => numberField(ctx, path)),
    textField(ctx, "notes", t("Notes"), { hint: t("Leave the first words: they say that this came from paper.") }),
  ];
}

function nextStep(ctx) {
  const { doc } = ctx.night;
  if (!doc.started_at) return { label: t("Enter: {what}", { what: t("Start") }), tap: async () => (await askStart(ctx)) && askEnd(ctx) };
  if (!doc.ended_at) return { label: t("Enter: {what}", { what: t("End") }), tap: () => askEnd(ctx) };
  if (unset(ctx, BEFORE).length === BEFORE.length) return { label: t("Enter: {what}", { what: t("Before") }), tap: () => askAll(ctx, BEFORE) };
  if (unset(ctx, AFTER).length === AFTER.length && doc.readings.length) return { label: t("Enter: {what}", { what: t("After") }), tap: () => askAll(ctx, AFTER) };
  return { label: doc.readings.length ? t("Add a line of the sheet") : t("Enter the readings"), tap: () => askReading(ctx), hint: tn("{n} so far", "{n} so far", doc.readings.length) };
}

function bar(ctx) {
  if (!isPaper(ctx.night)) return [{ label: t("Begin a night from paper"), tap: () => begin(ctx) }, { label: t("Tonight"), go: "tonight" }];
  const { doc } = ctx.night;
  const whole = doc.started_at && doc.ended_at;
  return [nextStep(ctx), whole && doc.readings.length > 0 && unset(ctx, AFTER).length === AFTER.length ? { label: t("Another line of the sheet"), tap: () => askReading(ctx) } : whole && { label: t("Look it over"), go: "summary" }];
}

register("paper", { title: () => t("From paper"), draw, bar });
