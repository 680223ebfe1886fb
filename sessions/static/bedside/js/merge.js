/*
 * Two versions of one night put together, row by row and field by field. Pure.
 *
 * `bases`: first the last body that the unit is known to have taken of this phone ({} where there is none), then those
 * whose answer was lost, which it may have taken or not. What one side changed since then holds; what both changed to
 * the same holds; where both changed one field to different values the unit's stands meanwhile, and the other is asked
 * about. A row that one side took out goes where the other left it alone, and stays where the other wrote on it. Rows
 * are known by their `id`.
 */

import { instant } from "./clock.js";

/** Lists with a time in each row. */
const TIMED = ["readings", "events", "medicines", "steps"];
export const LISTS = ["readings", "events", "medicines", "checks", "sites", "steps", "used_stock"];
/** Two phones may both write the first row about one of these: it is still one row. */
const ONE_EACH = new Set(["sites", "used_stock"]);
/** Which version a phone had is no answer of a person: the newer one holds. */
const NEWER = new Set(["prescription_version", "checklist_version", "run_sheet_version"]);
const ISO_TIME = /^\d{4}-\d\d-\d\dT\d\d:\d\d/;

const moment = (iso) => (iso ? instant(iso) : "");
/** What tells a row without an id from its neighbours. */
const NATURAL = {
  readings: (row) => moment(row.at),
  events: (row) => `${moment(row.at)} ${row.kind}`,
  medicines: (row) => `${moment(row.at)} ${row.name}`,
  checks: (row) => `${row.key || row.name} ${moment(row.at)}`,
  sites: (row) => `${row.use} ${row.site}`,
  steps: (row) => `${row.key} ${moment(row.at)}`,
  used_stock: (row) => `${row.item}`,
};
const ID_LENGTH = 60;

/** A value as both sides would write it; nothing is nothing however it is written. */
function plain(value) {
  if (value === undefined || value === "") return null;
  if (typeof value === "string") return ISO_TIME.test(value) ? moment(value) : value.trim() || null;
  if (value === null || typeof value !== "object") return value;
  if (Array.isArray(value)) return value.length ? value.map(plain) : null;
  return Object.entries(value)
    .map(([name, inner]) => [name, plain(inner)])
    .filter(([, inner]) => inner !== null)
    .sort();
}

/** Whether two values say the same. */
export const same = (one, other) => JSON.stringify(plain(one)) === JSON.stringify(plain(other));
const isOneOf = (value, others) => others.some((each) => same(value, each));

/**
 * The rows of a list, each with an id: its own, else one that any phone would make of the same row.
 * @param {string} list @param {any[]} rows
 */
export function withIds(list, rows) {
  const seen = new Map();
  return rows.map((row) => {
    const id = row.id || NATURAL[list](row).slice(0, ID_LENGTH);
    const count = seen.get(id) ?? 0;
    seen.set(id, count + 1);
    const own = count ? `${id}/${count + 1}` : id;
    return row.id === own ? row : { ...row, id: own };
  });
}

const byId = (rows) => new Map(rows.map((row) => [row.id, row]));

/** Rows that both sides added about one thing get one id. */
function joined(list, mine, theirs, known) {
  if (!ONE_EACH.has(list)) return [mine, theirs];
  const fresh = (rows) => rows.filter((row) => !known.has(row.id));
  const names = new Map();
  for (const row of fresh(mine)) {
    const other = fresh(theirs).find((each) => NATURAL[list](each) === NATURAL[list](row));
    if (!other || names.has(other.id)) continue;
    const id = [row.id, other.id].sort()[0];
    names.set(row.id, id).set(other.id, id);
  }
  const renamed = (rows) => rows.map((row) => (names.has(row.id) ? { ...row, id: names.get(row.id) } : row));
  return [renamed(mine), renamed(theirs)];
}

/**
 * One value -> [what holds, whether it has to be asked].
 * @param {any[]} bases the last that was known first
 */
function one(bases, mine, theirs) {
  if (same(mine, theirs) || isOneOf(theirs, bases)) return [mine, false];
  return [theirs, !same(mine, bases[0])];
}

const newer = (one, other) => (one == null || other == null ? (one ?? other ?? null) : Math.max(one, other));

/** The fields of one row or of the document, without its lists. */
function fields(bases, mine, theirs, ask) {
  const names = new Set([...Object.keys(theirs), ...Object.keys(mine)]);
  const entries = [...names].map((name) => {
    if (NEWER.has(name)) return [name, newer(mine[name], theirs[name])];
    const known = bases.map((base) => base[name]);
    const [value, asks] = one(known, mine[name], theirs[name]);
    if (asks) ask({ field: name, mine: mine[name] ?? null });
    return [name, value];
  });
  return Object.fromEntries(entries);
}

/** Lists with times by them; in the others what was there before keeps its place, before what came. */
function ordered(list, rows, known) {
  const place = TIMED.includes(list) ? new Map() : new Map([...known].map((id, index) => [id, index]));
  const keys = new Map(rows.map((row) => [row, [place.get(row.id) ?? place.size, moment(row.at), row.id]]));
  return rows.sort((one, other) => {
    const [left, right] = [keys.get(one), keys.get(other)];
    const at = left.findIndex((part, index) => part !== right[index]);
    return at < 0 ? 0 : left[at] < right[at] ? -1 : 1;
  });
}

/** Two readings of one second would be refused: the later one gets the next that is free. */
function apart(rows) {
  const taken = new Set();
  return rows.map((row) => {
    let at = Date.parse(row.at);
    while (taken.has(at)) at += 1000;
    taken.add(at);
    return at === Date.parse(row.at) ? row : { ...row, at: new Date(at).toISOString() };
  });
}

/**
 * One list of two versions -> its rows. @param {string} list @param {any[][]} bases @param {any[]} mine
 * @param {any[]} theirs @param {(question: any) => void} ask
 */
export function mergedRows(list, bases, mine, theirs, ask = () => {}) {
  const before = bases.map((rows) => byId(withIds(list, rows)));
  const known = new Set(before.flatMap((rows) => [...rows.keys()]));
  const [left, right] = joined(list, withIds(list, mine), withIds(list, theirs), known).map(byId);
  const found = [...new Set([...right.keys(), ...left.keys()])].map((id) => {
    const earlier = before.map((rows) => rows.get(id)).filter(Boolean);
    const [own, other] = [left.get(id), right.get(id)];
    // Taken out by the other side, and left alone by this one. An attempt that never came in is no row that went.
    if (!other) return same(own, before[0].get(id)) ? null : own;
    if (!own) return isOneOf(other, earlier) ? null : other;
    return fields(earlier.length ? earlier : [{}], own, other, (asked) => ask({ list, id, ...asked }));
  });
  const rows = ordered(list, found.filter(Boolean), known);
  return list === "readings" ? apart(rows) : rows;
}

/* `confirmed` names rows by their place: by their id while two versions are put together. */

const PLACED = /^(\w+)\[(\d+)\](.*)$/;

function named(document) {
  return new Set(
    (document.confirmed ?? []).map((path) => {
      const [, list, index, rest] = PLACED.exec(path) ?? [];
      const row = list && withIds(list, document[list] ?? [])[Number(index)];
      return row ? `${list} ${rest} ${row.id}` : path;
    }),
  );
}

function placed(document, names) {
  return [...names].flatMap((name) => {
    const [, list, rest, id] = /^(\w+) (\S*) (.*)$/.exec(name) ?? [];
    if (!list) return [name];
    const index = document[list].findIndex((row) => row.id === id);
    return index < 0 ? [] : [`${list}[${index}]${rest}`];
  });
}

function confirmed(document, bases, mine, theirs) {
  const [left, right, before] = [named(mine), named(theirs), bases.map(named)];
  const stays = (name) =>
    left.has(name) ? right.has(name) || !before[0].has(name) : !before.some((names) => names.has(name));
  return placed(document, [...new Set([...right, ...left])].filter(stays).sort());
}

/**
 * Two versions of one night -> {doc, questions: [{list, id, field, mine}]}; of the document itself list and id are "".
 * @param {any[]} bases @param {any} mine @param {any} theirs
 */
export function merge(bases, mine, theirs) {
  const questions = [];
  const known = bases.length ? bases : [{}];
  const isField = (name) => !LISTS.includes(name) && name !== "confirmed";
  const own = (document) => Object.fromEntries(Object.entries(document).filter(([name]) => isField(name)));
  const ask = (asked) => questions.push({ list: "", id: "", ...asked });
  const merged = fields(known.map(own), own(mine), own(theirs), ask);
  for (const list of LISTS) {
    const rows = (document) => document[list] ?? [];
    merged[list] = mergedRows(list, known.map(rows), rows(mine), rows(theirs), ask);
  }
  merged.confirmed = confirmed(merged, known, mine, theirs);
  return { doc: merged, questions };
}
