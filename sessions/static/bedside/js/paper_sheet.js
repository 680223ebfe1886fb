/*
 * A paper sheet while it is being typed in: `night.plan.paper` = {day, typed, sure, wrong, asked}. `typed` has the
 * shape of the record with every cell as the text that was typed, so that nothing of it is lost; `layOut` makes the
 * record of it, with what cannot stand (`wrong`) and what nobody has looked at twice (`asked`). Pure.
 */

import { checkOf, inside } from "./check_rows.js";
import { fromWall, later, minutesBetween, toWall } from "./clock.js";
import { getPath, onPaper, takeDocument } from "./draft.js";
import { keptOf, meant, oddity, parseNumber, refusal, withUnit } from "./numbers.js";
import { cellLimits, lengthDoubt } from "./paper_doubts.js";
import { clockTold, t, twelve } from "./words.js";

/** A text of the sheet, "" where nothing was typed. @param {Night} night @param {string} path */
export const typedAt = (night, path) => getPath({ doc: night.plan.paper.typed }, path) ?? "";

/** The limits of a cell, with what it is held against. @param {Night} night @param {Kit} kit @param {string} path */
export const limitsAt = (night, kit, path) => cellLimits(kit, night.plan.paper.typed, path);

/**
 * "2130", "21:30", "9.05", "9:30 PM", "9pm" -> "21:30", or null where it is no time of day. Where the unit's clock has
 * twelve hours, one of them alone is no time: nobody knows which half of the day is meant.
 */
function clockOf(text = "") {
  const [, figures, minute, half] = TYPED_CLOCK.exec(text.trim()) ?? [];
  const hour = Number(figures);
  if (!figures || !(minute || half) || Number(minute ?? 0) > 59 || isHalf(text)) return null;
  if (half ? hour < 1 || hour > 12 : hour > 23) return null;
  const hours = half ? (hour % 12) + (half.toLowerCase() === "p" ? 12 : 0) : hour;
  return `${String(hours).padStart(2, "0")}:${minute ?? "00"}`;
}
const TYPED_CLOCK = /^(\d{1,2})(?:\D?(\d\d))?\s*(?:([ap])\.?\s?m?\.?)?$/i;

/** "9:30" where a time of day is one of twelve hours. */
function isHalf(text = "") {
  const [, hour, , half] = TYPED_CLOCK.exec(text.trim()) ?? [];
  return twelve() && !half && Number(hour) >= 1 && Number(hour) <= 12;
}

/** Litres typed as millilitres, or the other way round, as a question; "" where they are not. @param {Limits} limits */
function slip(limits, number) {
  const other = meant(limits, number);
  if (other === null) return "";
  const [typed, asked] = [number, other].map((each) => withUnit(each, limits.unit));
  return t("{value} was typed. Was {other} meant?", { value: typed, other: asked });
}

/** A cell -> {value}, with {ask} where it is unusual; {} where it is empty; {wrong: words}. @param {Limits} limits */
export function readNumber(limits, text) {
  const { number, wrong } = parseNumber(text);
  if (wrong !== undefined) return { wrong: t("“{text}” is no number.", { text: wrong }) };
  if (number === undefined) return {};
  const kept = keptOf(limits, number);
  const [slipped, why] = [slip(limits, kept), refusal(limits, kept)];
  if (why) return { wrong: [why, slipped].filter(Boolean).join(" ") };
  return { value: kept, ask: slipped || oddity(limits, kept) };
}

/** What is asked of a cell, until somebody has said that it is right; "" for nothing. @param {Night} night */
export const askedOf = (night, path) => night.plan.paper.asked?.find((each) => each.path === path)?.words ?? "";

/**
 * Somebody looked at a cell a second time, and it is right: that holds for exactly what was asked.
 * @param {Night} night @param {Kit} kit @param {string} path
 */
export function sayRight(night, kit, path) {
  night.plan.paper.sure[path] = askedOf(night, path);
  layOut(night, kit);
}

/** The first moment with this clock time at or after another one: the night runs over midnight. */
function following(clock, after, zone) {
  const day = toWall(after, zone).slice(0, 10);
  const first = fromWall(`${day}T${clock}`, zone);
  const next = later(`${day}T12:00:00Z`, 24 * 60).slice(0, 10);
  return first === null || first >= after ? first : fromWall(`${next}T${clock}`, zone);
}

/** Whether anything stands in a line beside its time and what the page wrote there itself. */
const filled = ({ at, unit, fixed, name, ...rest }) => Object.values(rest).some(Boolean) || (!fixed && Boolean(name));

/**
 * What is wrong with a time of the sheet, or "". Lines without a time, other than readings, count from the start.
 * @param {Night} night @param {string} path
 */
export function wrongTime(night, path) {
  const text = typedAt(night, path);
  if (text && !clockOf(text)) {
    if (isHalf(text)) return t("{text}: AM or PM?", { text });
    return t("{text} is no time of day. Write it as in {example}.", { text, example: clockTold("21:30") });
  }
  if (text) return "";
  return path.startsWith("readings") && filled(typedAt(night, path.slice(0, -3)))
    ? t("The time of this line is missing.")
    : "";
}

/** When the treatment of the sheet began, or null. @param {Night} night @param {Kit} kit */
export function beganOnPaper(night, kit) {
  const clock = clockOf(typedAt(night, "started_at"));
  return clock && fromWall(`${night.plan.paper.day}T${clock}`, kit.patient.zone);
}

/**
 * The reader of cells: number(path of the sheet, path of the record) notes what is wrong and what was confirmed.
 * @param {Night} laid @param {Kit} kit
 */
function reader(laid, kit) {
  const { paper } = laid.plan;
  return (path, to = path) => {
    const text = typedAt(laid, path);
    const { value = null, ask, wrong } = readNumber(limitsAt(laid, kit, path), text);
    if (wrong) paper.wrong.push(wrong);
    if (ask && paper.sure[path] === ask) laid.doc.confirmed.push(to);
    else if (ask) paper.asked.push({ path, words: ask });
    return value;
  };
}

/**
 * The lines of a list with something in them; `make(number of a column)` gives a row of the record.
 * @param {Night} laid @param {Kit} kit
 */
function layLines(laid, kit, list, number, make) {
  const record = laid.doc;
  const { paper } = laid.plan;
  record[list] = [];
  for (const [index, row] of (paper.typed[list] ?? []).entries()) {
    if (!filled(row)) continue;
    const wrong = wrongTime(laid, `${list}[${index}].at`);
    if (wrong) paper.wrong.push(wrong);
    else if (record.started_at)
      record[list].push({
        at: row.at ? following(clockOf(row.at), record.started_at, kit.patient.zone) : record.started_at,
        ...make(row, (name) => number(`${list}[${index}].${name}`, `${list}[${record[list].length}].${name}`)),
      });
  }
}

/** The numbers that the sheet has once, in its order. @param {Kit} kit */
const wholeNight = (kit) => ["fluid", "before", "after"].flatMap((part) => onPaper(kit, part));

const columns = (names, number) => Object.fromEntries(names.map((name) => [name, number(name)]));

/** @param {Night} laid @param {Kit} kit */
function layChecks(laid, kit, number) {
  const { checks } = laid.plan.paper.typed;
  laid.doc.checks = (kit.checklist?.items ?? []).flatMap((item) => {
    const value = item.asks_value ? number(`checks.${item.key}.value`) : null;
    if (!checks[item.key]?.good && value === null) return [];
    return [checkOf(item, { passed: value === null || inside(item, value), value })];
  });
  laid.doc.checklist_version = laid.doc.checks.length ? kit.checklist.version : null;
}

/** @param {Night} laid @param {Kit} kit */
function laySites(laid, kit, number) {
  laid.doc.sites = [];
  for (const [index, { site, use }] of laid.plan.paper.typed.sites.entries()) {
    const to = `sites[${laid.doc.sites.length}].`;
    if (site)
      laid.doc.sites.push({
        site: Number(site),
        use,
        needle: "",
        flash: null,
        flushed: null,
        note: "",
        at: null,
        ...columns(onPaper(kit, "sites"), (name) => number(`sites[${index}].${name}`, to + name)),
      });
  }
}

/** A length that is not the prescribed one is asked about at the end. @param {Night} laid @param {Kit} kit */
function askLength({ doc, plan: { paper } }, kit) {
  if (!doc.started_at || !doc.ended_at) return;
  const words = lengthDoubt(kit, minutesBetween(doc.started_at, doc.ended_at));
  if (words && paper.sure.ended_at !== words) paper.asked.push({ path: "ended_at", words });
}

/**
 * Make the record of what was typed; `paper.wrong` says what cannot stand, `paper.asked` what is unusual and was not
 * looked at twice: [{path, words}].
 * @param {Night} night @param {Kit} kit
 */
export function layOut(night, kit) {
  const record = { ...night.doc };
  const laid = { ...night, doc: record };
  const { paper } = night.plan;
  const { typed } = paper;
  const end = clockOf(typed.ended_at);
  Object.assign(record, { source: "paper", run_sheet_version: null, confirmed: [] });
  paper.asked = [];
  paper.wrong = ["started_at", "ended_at"].map((path) => wrongTime(laid, path)).filter(Boolean);
  record.started_at = beganOnPaper(laid, kit);
  record.ended_at = record.started_at && end ? following(end, later(record.started_at, 1), kit.patient.zone) : null;
  askLength(laid, kit);
  night.stage = record.ended_at ? "after" : record.started_at ? "running" : "before";
  const number = reader(laid, kit);
  Object.assign(record, columns(wholeNight(kit), number));
  laySites(laid, kit, number);
  layChecks(laid, kit, number);
  layLines(laid, kit, "readings", number, (_, column) => columns(onPaper(kit, "readings"), column));
  layLines(laid, kit, "events", number, ({ kind, note }, column) => ({
    kind: kind || "other",
    note: note ?? "",
    ...columns(onPaper(kit, "events"), column),
  }));
  layLines(laid, kit, "medicines", number, ({ name, unit }, column) => ({
    name,
    unit,
    note: "",
    ...columns(onPaper(kit, "medicines"), column),
  }));
  takeDocument(night, record);
}
