/*
 * The night: one record as this phone holds it, and the document made of it.
 *
 * {id, patient, account, stage: "before" | "running" | "after" | "handed", doc (the treatment document), plan, stamps
 *  {step key: ISO}, acks, prescriptionVersion, screen (address where the person was), revision and etag (of the
 *  unit's, or null),
 *  sent (last body the unit took), sentAt, delivered (ISO once the unit has the handed record), correcting, faults,
 *  trouble (why the unit could not take it, see trouble.js), questions (fields that two phones changed, each with what
 *  this one had), heard (when and of whom the unit's version last came), others (who wrote a row, by its id, where
 *  another phone did), mistaken (begun by mistake), practice (never sent), unanswered (bodies whose answer was lost),
 *  past, future (undo, redo), touched_at}
 */

import { standing, withAnswer } from "./check_rows.js";
import { nowMinute } from "./clock.js";
import { LISTS, merge, mergedRows, same, withIds } from "./merge.js";
import { inWords, oddity } from "./numbers.js";
import { isRefused } from "./trouble.js";
import { fmt, t } from "./words.js";

const SERVER_MADE = new Set([
  "id",
  "patient",
  "status",
  "revision",
  "etag",
  "night",
  "received_at",
  "marks",
  "clock_offset_s",
  "entered_by",
]);
const STEPS_KEPT = 60;
const TEXTS = ["notes", "source", "plan_choice", "dialyser_look", "blood_return", "early_reason"];

/** @param {Kit} kit @returns {TreatmentDocument} */
function emptyDocument(kit) {
  const numbers = Object.fromEntries((kit.numbers ?? []).map((name) => [name, null]));
  /** @type {any} */
  const lists = Object.fromEntries(LISTS.map((name) => [name, []]));
  const versions = {
    prescription_version: kit.prescription?.version ?? null,
    checklist_version: kit.checklist?.version ?? null,
  };
  const texts = Object.fromEntries(TEXTS.map((name) => [name, ""]));
  return {
    started_at: null,
    ended_at: null,
    ...numbers,
    ...texts,
    disinfected: null,
    ...versions,
    run_sheet_version: kit.run_sheet?.version ?? null,
    ...lists,
    confirmed: [],
  };
}

/**
 * Whether what happens now belongs into this night, or null: it is not handed over, and not one of paper.
 * @param {Night} night
 */
export const isLive = (night) => Boolean(night && night.stage !== "handed" && !night.plan.paper);

/**
 * A new night of the kit's patient, entered by the kit's account; one for practice never leaves this phone.
 * @param {Kit} kit @returns {Night}
 */
export function newNight(kit, id = crypto.randomUUID(), practice = false) {
  return {
    id,
    patient: kit.patient.id,
    account: kit.account.id,
    stage: "before",
    doc: emptyDocument(kit),
    plan: {},
    stamps: {},
    acks: {},
    prescriptionVersion: kit.prescription?.version ?? null,
    screen: "",
    revision: null,
    etag: null,
    sent: null,
    sentAt: null,
    delivered: null,
    correcting: false,
    faults: [],
    trouble: null,
    questions: [],
    heard: null,
    others: {},
    mistaken: false,
    practice,
    unanswered: [],
    past: [],
    future: [],
    touched_at: new Date().toISOString(),
  };
}

const isWhole = {
  checks: (row) => typeof row.passed === "boolean",
  sites: (row) => row.site != null,
  used_stock: (row) => row.item != null,
};

/** Rows that can be sent -> [row, index in the night]; half-answered ones stay on the phone. @param {Night} night */
const whole = (night, list) =>
  night.doc[list].map((row, index) => [row, index]).filter(([row]) => (isWhole[list] ?? (() => true))(row));

function moved(paths, list, moves) {
  return paths.flatMap((path) => {
    const found = new RegExp(`^${list}\\[(\\d+)\\](.*)$`).exec(path);
    if (!found) return [path];
    const to = moves.get(Number(found[1]));
    return to === undefined ? [] : [`${list}[${to}]${found[2]}`];
  });
}

/** The document to send, with status "open" or "finished". @param {Night} night */
export function documentOf(night, status) {
  const sent = { patient: night.patient, status, ...night.doc };
  for (const list of LISTS) {
    const rows = whole(night, list);
    sent[list] = rows.map(([row]) => row);
    sent.confirmed = moved(sent.confirmed, list, new Map(rows.map(([, index], to) => [index, to])));
  }
  return sent;
}

/**
 * A path of the document that was sent, as a path of the night: the unit names rows as it got them.
 * @param {Night} night @param {string} path
 */
export function pathInNight(night, path) {
  const found = /^(\w+)\[(\d+)\](.*)$/.exec(path);
  const row = found && whole(night, found[1])[Number(found[2])];
  return row ? `${found[1]}[${row[1]}]${found[3]}` : path;
}

/** How far a treatment is that was not handed over. @param {TreatmentDocument} doc @returns {Night["stage"]} */
const stageBy = (doc) => (doc.ended_at ? "after" : doc.started_at ? "running" : "before");

/** A night that goes on with a document of the unit. @param {Kit} kit */
export function draftFrom(document, kit) {
  const night = newNight(kit, document.id);
  night.patient = document.patient ?? night.patient;
  for (const [name, value] of Object.entries(document))
    if (!SERVER_MADE.has(name)) night.doc[name] = value ?? night.doc[name] ?? null;
  for (const list of LISTS) night.doc[list] = withIds(list, night.doc[list]);
  night.correcting = document.status === "finished";
  night.stage = stageBy(document);
  Object.assign(night, {
    revision: document.revision,
    etag: document.etag,
    sentAt: document.received_at,
    prescriptionVersion: document.prescription_version ?? null,
  });
  night.stamps = Object.fromEntries((document.steps ?? []).map(({ key, at }) => [key, at]));
  night.sent = JSON.stringify(documentOf(night, document.status));
  return night;
}

/* Values ------------------------------------------------------------------------------------------ */

/** @param {string} path */
const keysOf = (path) => path.split(/[.[\]]+/).filter(Boolean);

/**
 * "readings[2].venous_mmhg" of the night's document, or undefined.
 * @param {Pick<Night, "doc">} night @param {string} path @returns {any}
 */
export const getPath = (night, path) => keysOf(path).reduce((value, key) => value?.[key], night.doc);

/**
 * Write into the night's document; a missing row or list on the way is made.
 * @param {Pick<Night, "doc">} night @param {string} path @param {any} value
 */
export function setPath(night, path, value) {
  const keys = keysOf(path);
  const name = keys.pop();
  const holder = keys.reduce(
    (inner, key, index) => (inner[key] ??= /^\d+$/.test(keys[index + 1] ?? name) ? [] : {}),
    night.doc,
  );
  holder[/** @type {string} */ (name)] = value;
}

/**
 * Note that the person was asked once more about an unusual value, or that this no longer holds.
 * @param {Night} night @param {string} path
 */
export function confirmPath(night, path, on = true) {
  const others = night.doc.confirmed.filter((each) => each !== path);
  night.doc.confirmed = on ? [...others, path] : others;
}

/**
 * A number that came from the pad: written, and confirmed where it is unusual (the pad has asked).
 * @param {Night} night @param {string} path @param {Limits | undefined} limits
 */
export function takeNumber(night, path, value, limits) {
  setPath(night, path, value);
  confirmPath(night, path, value != null && Boolean(limits && oddity(limits, value)));
}

/**
 * Write a number; it counts as confirmed only where the pad has asked.
 * @param {Night} night @param {string} path @param {Limits | undefined} limits
 */
export function writeNumber(night, path, value, limits, asked) {
  if (asked) return takeNumber(night, path, value, limits);
  setPath(night, path, value);
  confirmPath(night, path, false);
}

/** The limits of a path: kit.limits knows rows without their index. @param {Kit} kit @param {string} path */
export const limitsOf = (kit, path) => kit?.limits?.[path.replace(/\[\d+\]/g, "")];

/** What holds a path of the night's document: the row of a list, or the document. @param {Pick<Night, "doc">} night */
export const rowOf = (night, path) => (path.includes(".") ? getPath(night, path.replace(/\.\w+$/, "")) : night.doc);

/**
 * A number that does not usually pass another of its treatment is asked about where it does.
 * @param {Limits | undefined} limits @param {Kit} kit @param {any} row @returns {Limits | undefined}
 */
function notOver(limits, kit, row) {
  const path = limits?.at_most ?? "";
  const most = path && row?.[path];
  if (!limits || !path || most == null) return limits;
  const doubt = (number) =>
    number > most
      ? t("{value} is more than {other} ({label}). Is it right?", {
          value: inWords(limits, number),
          other: inWords(limits, most),
          label: t(limitsOf(kit, path)?.label ?? path).toLowerCase(),
        })
      : "";
  return { ...limits, doubt };
}

/**
 * A number that does not usually fall within a treatment is asked about where it is under one read before.
 * @param {Limits} limits @param {number | null | undefined} before @returns {Limits}
 */
export function notUnder(limits, before) {
  if (!limits.rises || before == null) return limits;
  const doubt = (number) =>
    number < before
      ? t("{value} is less than {other}, as read before. Is it right?", {
          value: inWords(limits, number),
          other: inWords(limits, before),
        })
      : "";
  return { ...limits, doubt };
}

/**
 * The limits of a number in a row where others stand already: of the two of a blood pressure, each is refused by name
 * where they would be upside down. @param {Kit} kit @param {any} row @param {string} path
 * @returns {Limits | undefined}
 */
export function limitsAt(kit, row, path) {
  const limits = notOver(limitsOf(kit, path), kit, row);
  const name = path.split(".").at(-1) ?? path;
  const partner = /systolic$/.test(name)
    ? name.replace(/systolic$/, "diastolic")
    : /diastolic$/.test(name)
      ? name.replace(/diastolic$/, "systolic")
      : null;
  const other = partner && row?.[partner];
  if (!limits || other == null) return limits;
  const below = name.endsWith("diastolic");
  const refuse = (number) => {
    if (below ? number < other : number > other) return "";
    const given = { label: t(limits.label), other: inWords(limits, other), given: fmt(number) };
    return below
      ? t("{label} must be below the systolic {other}; {given} was given.", given)
      : t("{label} must be above the diastolic {other}; {given} was given.", given);
  };
  return { ...limits, refuse };
}

/**
 * The numbers that a screen asks for, in its order, as the unit declares them: "readings", "before", "after", …
 * @param {Kit} kit
 */
export const askedAt = (kit, place) => kit?.asked?.[place] ?? [];

/** The same for a part of the paper sheet. @param {Kit} kit */
export const onPaper = (kit, part) => kit?.asked?.paper?.[part] ?? [];

/** What a number is called where the place says the rest. @param {Kit} kit @param {string} path */
export const shortOf = (kit, path) => {
  const limits = limitsOf(kit, path);
  return t(limits?.short ?? limits?.label ?? path);
};

/* Rows -------------------------------------------------------------------------------------------- */

/** A name for a row. */
const newId = () => crypto.randomUUID().slice(0, 13);

/** @param {Night} night */
function arranged(night, list, order) {
  night.doc.confirmed = moved(night.doc.confirmed, list, new Map(order.map((from, to) => [from, to])));
  night.doc[list] = order.map((from) => night.doc[list][from]);
}

/** Bring timed rows in order of time after one's time was changed; `confirmed` follows them. @param {Night} night */
export function reorder(night, list) {
  const rows = night.doc[list];
  arranged(
    night,
    list,
    rows.map((_, index) => index).sort((a, b) => Date.parse(rows[a].at) - Date.parse(rows[b].at)),
  );
}

/** @param {Night} night */
function freeMinute(night, list, wanted) {
  let at = new Date(wanted);
  while (list === "readings" && night.doc[list].some((row) => Date.parse(row.at) === at.getTime()))
    at = new Date(at.getTime() + 1000);
  return at.toISOString();
}

/** Add a row to a timed list, in order of time -> its index. Without `at` it is now. @param {Night} night */
export function addRow(night, list, row) {
  const added = { id: newId(), ...row, at: freeMinute(night, list, row.at ?? nowMinute()) };
  night.doc[list].push(added);
  reorder(night, list);
  return night.doc[list].indexOf(added);
}

/** @param {Night} night */
export function removeRow(night, list, index) {
  const order = night.doc[list].map((_, each) => each);
  order.splice(index, 1);
  arranged(night, list, order);
}

/**
 * addReading(night, {venous_mmhg: 140, at?}) -> index; the last reading is night.doc.readings.at(-1).
 * @param {Night} night
 */
export const addReading = (night, values) => addRow(night, "readings", values);
/**
 * The reading of a minute that lacks a number as yet, else a new one -> its index.
 * @param {Night} night
 * @param {Iso} at
 */
export function readingNow(night, at, lacking) {
  const index = night.doc.readings.findIndex((row) => row.at.slice(0, 16) === at.slice(0, 16) && row[lacking] == null);
  return index < 0 ? addReading(night, { at }) : index;
}
const EMPTY_EVENT = {
  note: "",
  systolic: null,
  diastolic: null,
  saline_l: null,
  paused_at: null,
  resumed_at: null,
  ended_at: null,
  outcome: "",
  called: "",
  use: "",
};
/** addEvent(night, {kind, note?, systolic?, diastolic?, saline_l?, at?}) -> index. @param {Night} night */
export const addEvent = (night, values) => addRow(night, "events", { ...EMPTY_EVENT, ...values });

/**
 * The phone's time stamp of a step of the run sheet. A step done again keeps each of its times.
 * @param {Night} night
 */
export function stampStep(night, key, words, at = new Date().toISOString()) {
  night.doc.steps.push({ at, key, words });
  night.stamps[key] = at;
}

/** Several fields of the document at once. @param {Night} night @param {Partial<TreatmentDocument>} values */
export function setFields(night, values) {
  Object.assign(night.doc, values);
}

/** One of several answers: touched again, it is taken back. @param {Night} night @param {string} path */
export function toggleField(night, path, value) {
  const none = path === "disinfected" ? null : "";
  night.doc[path] = night.doc[path] === value ? none : value;
}

/** Some values of one row of a list. @param {Night} night @param {string} list @param {number} index */
export function setRow(night, list, index, values) {
  Object.assign(night.doc[list][index], values);
}

/** Put a row in the place of the one with the same key, else at the end. @param {Night} night @param {string} list */
export function putRow(night, list, key, row) {
  const index = night.doc[list].findIndex((each) => each[key] === row[key]);
  if (index < 0) night.doc[list].push(row);
  else night.doc[list][index] = { ...row, id: night.doc[list][index].id };
}

/** The needle site that stands for a use: the last of those that were tried. @param {Night} night */
export const siteOf = (night, use) => night.doc.sites.findLast((row) => row.use === use);

/** Some values of the needle site that stands for a use, where there is one. @param {Night} night */
export function changeSite(night, use, values) {
  const row = siteOf(night, use);
  if (row) Object.assign(row, values);
}

/** One more needle site, with what is not known of it yet left open. @param {Night} night */
export function addSite(night, use, site) {
  const open = { attempts: null, bleeding_minutes: null, gauge: null, needle: "", length_mm: null, pain: null };
  night.doc.sites.push({ site, use, ...open, flash: null, flushed: null, note: "", at: null });
}

/** A whole document in the place of the one that stood: a paper sheet was laid out anew. @param {Night} night */
export function takeDocument(night, doc) {
  night.doc = doc;
}

/** Take the row of a key out. @param {Night} night @param {string} list */
export function dropRow(night, list, key, value) {
  night.doc[list] = night.doc[list].filter((each) => each[key] !== value);
}

/** One more answer of a check. @param {Night} night @param {CheckItem} item @param {Check} row */
export function answerCheck(night, item, row) {
  night.doc.checks = withAnswer(night.doc.checks, item, row);
}

/** A check that did not pass is passed over, with a reason. @param {Night} night @param {string} key */
export function overruleCheck(night, key, reason) {
  const row = standing(night.doc.checks, key);
  if (row) Object.assign(row, { overruled: true, reason });
}

/**
 * When the treatment began or ended; what is known of it says at which stage it is.
 * @param {Night} night @param {Iso} iso
 */
export function setMoment(night, path, iso) {
  night.doc[path] = iso;
  night.stage = night.doc.ended_at ? "after" : "running";
}

/** The night goes on with another version of the prescription. @param {Night} night @param {number} version */
export function takeVersion(night, version) {
  night.prescriptionVersion = version;
  night.doc.prescription_version = version;
}

/* Steps back and forward --------------------------------------------------------------------------- */

const UNDONE = ["plan", "stamps", "acks", "stage"];
/** @param {Night} night */
const faceOf = (night) => ({
  ...Object.fromEntries(UNDONE.map((name) => [name, night[name]])),
  ...Object.fromEntries(Object.entries(night.doc).map(([name, value]) => [`doc.${name}`, value])),
});
/** What can be undone of a night, as text by part: to be taken before a change. @param {Night} night */
export const snapshot = (night) =>
  new Map(Object.entries(faceOf(night)).map(([name, value]) => [name, JSON.stringify(value)]));

/**
 * Note what changed since a snapshot as one step -> whether anything did. Only the changed parts are kept.
 * @param {Night} night
 */
export function noteStep(night, before, label) {
  const after = snapshot(night);
  const changed = [...new Set([...before.keys(), ...after.keys()])].filter(
    (name) => before.get(name) !== after.get(name),
  );
  if (!changed.length) return false;
  /** @type {NightStep["parts"]} */
  const parts = changed.map((name) => [name, before.get(name), after.get(name)]);
  night.past = [...night.past, { label, parts }].slice(-STEPS_KEPT);
  night.future = [];
  return true;
}

/**
 * One part goes from how a step left it to how it was. What another phone, or a card, wrote there since then stays.
 * @param {Night} night
 */
function setPart(night, name, left, text) {
  const inDocument = name.startsWith("doc.");
  const holder = inDocument ? night.doc : night;
  const key = inDocument ? name.slice(4) : name;
  const untouched = JSON.stringify(holder[key]) === left;
  if (text === undefined) delete holder[key];
  else if (untouched || ["plan", "acks", "stamps"].includes(name)) holder[key] = JSON.parse(text);
  else if (LISTS.includes(key))
    holder[key] = mergedRows(key, [JSON.parse(left ?? "[]")], JSON.parse(text), holder[key]);
}

/** @param {Night} night */
function turn(night, from, to, side) {
  const step = night[from].at(-1);
  if (!step) return "";
  for (const part of step.parts) setPart(night, part[0], part[3 - side], part[side]);
  night[from] = night[from].slice(0, -1);
  night[to] = [...night[to], step];
  return step.label;
}

/** One step back -> its label, "" when there is none. @param {Night} night */
export const undoStep = (night) => turn(night, "past", "future", 1);
/** @param {Night} night */
export const redoStep = (night) => turn(night, "future", "past", 2);

/* Against the unit's version ----------------------------------------------------------------------- */

/** A night that an earlier release kept, with what it did not know. @param {any} night */
export function bringUp(night) {
  for (const [name, value] of Object.entries({
    trouble: null,
    questions: [],
    heard: null,
    others: {},
    mistaken: false,
    practice: false,
    etag: null,
  }))
    night[name] ??= value;
  if (night.conflict) joinTheirs(night, night.conflict);
  delete night.conflict;
}

/** Give each new row a name of its own, by which another phone knows it again. @param {Night} night */
export function nameRows(night) {
  for (const list of LISTS) for (const row of night.doc[list] ?? []) if (!row.id) row.id = newId();
}

/**
 * The record was changed since the unit refused it: it is judged anew, and what was said of the old one is gone.
 * @param {Night} night
 */
export function judgeAnew(night) {
  night.faults = [];
  if (isRefused(night.trouble)) night.trouble = null;
}

/** Where an answer that asks stands: the row of a list, or the document. @param {Night} night */
export const holderOf = (night, { list, id }) => (list ? night.doc[list].find((row) => row.id === id) : night.doc);

/** Questions that are still open: not those of a row that went, or that both answer alike now. @param {Night} night */
export const openQuestions = (night) =>
  (night.questions ?? []).filter((each) => {
    const holder = holderOf(night, each);
    return holder && !same(holder[each.field], each.mine);
  });

/**
 * Put the unit's newer version and this phone's together -> whether anything here changed.
 * @param {Night} night @param {any} current the unit's document
 */
export function joinTheirs(night, current) {
  nameRows(night);
  const before = JSON.stringify(night.doc);
  const { status, ...theirs } = withoutServerMade(current);
  const sent = wentBack(night, current) ? ["{}"] : [night.sent ?? "{}", ...[...night.unanswered].reverse()];
  const known = sent.map((body) => JSON.parse(body));
  const { doc, questions } = merge(known, night.doc, theirs);
  const heard = { by: current.entered_by ?? null, at: current.received_at };
  const rows = new Set(LISTS.flatMap((list) => night.doc[list].map(({ id }) => id)));
  const moved = [night.doc.started_at, night.doc.ended_at].some(
    (at, index) => !same(at, [doc.started_at, doc.ended_at][index]),
  );
  night.doc = doc;
  night.questions = [
    ...openQuestions(night).filter((each) => !questions.some((other) => isOfSame(each, other))),
    ...questions.map((each) => ({ ...each, ...heard })),
  ];
  const { revision, etag } = current;
  Object.assign(night, { revision, etag, sentAt: current.received_at, heard, faults: [], unanswered: [] });
  for (const list of LISTS) for (const row of doc[list]) if (!rows.has(row.id)) night.others[row.id] = heard.by;
  for (const step of doc.steps) if (!rows.has(step.id)) night.stamps[step.key] = step.at;
  takeStage(night, current, moved);
  const ours = documentOf(night, status);
  night.sent = JSON.stringify(sameRecord(current, ours) ? ours : { patient: night.patient, status, ...theirs });
  return JSON.stringify(night.doc) !== before;
}

/**
 * Whether the unit's version is none that grew from the one that this phone had taken: a backup was brought back. What
 * the phone sent is then no common ground: whatever it holds counts as its own.
 * @param {Night} night
 */
const wentBack = ({ revision, etag }, current) =>
  revision !== null &&
  Boolean(etag) &&
  (current.revision < revision || (current.revision === revision && current.etag !== etag));

/**
 * Two nights that were begun of one treatment: what the other wrote comes into this one; what both wrote is asked.
 * @param {Night} night @param {Night} other
 */
export function joinNights(night, other) {
  nameRows(other);
  const { doc, questions } = merge([{}], other.doc, night.doc);
  const heard = { by: night.heard?.by ?? null, at: night.sentAt ?? night.touched_at };
  night.doc = doc;
  night.questions = [...openQuestions(night), ...questions.map((each) => ({ ...each, ...heard }))];
  night.stamps = { ...other.stamps, ...night.stamps };
}

/** A record that was begun by mistake: nothing was done in it, and the unit hears that. @param {Night} night */
export function takeBack(night) {
  for (const list of ["readings", "events", "medicines"]) night.doc[list] = [];
  Object.assign(night, { stage: "handed", mistaken: true, questions: [], faults: [], trouble: null });
}

/** How a record goes to the unit. @param {Night} night */
export const statusOf = (night) =>
  night.mistaken ? "mistaken" : night.correcting || night.stage === "handed" ? "finished" : "open";

const isOfSame = (one, other) => one.list === other.list && one.id === other.id && one.field === other.field;

/** Begun, ended or handed over on another phone is so on this one too. @param {Night} night */
function takeStage(night, current, moved) {
  night.mistaken = current.status === "mistaken";
  if (current.status !== "open") {
    if (!night.correcting) Object.assign(night, { stage: "handed", delivered: night.delivered ?? current.received_at });
  } else if (night.stage !== "handed" && moved) night.stage = stageBy(night.doc);
}

/** A document without what only the server says. */
const withoutServerMade = (document) =>
  Object.fromEntries(Object.entries(document).filter(([name]) => name === "status" || !SERVER_MADE.has(name)));

/** Whether the unit's document says the same as one that was sent, whatever each side leaves out. */
export const sameRecord = (theirs, ours) => same(withoutServerMade(theirs), withoutServerMade(ours));

/** Whether the night holds something that the unit does not have yet, and should. @param {Night} night */
export function hasUnsent(night) {
  if (night.practice) return false;
  return night.sent === null || JSON.stringify(documentOf(night, statusOf(night))) !== night.sent;
}
