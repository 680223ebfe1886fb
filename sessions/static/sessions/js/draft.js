/*
 * A draft of one night and the document made of it.
 *
 * facts: the plain fields of the document. refused: text of fields whose number is impossible (kept in sight,
 * never sent). rows: {readings, events, medicines}, each row {key, values, confirmed}. checks: by name. sites:
 * by use; others: checks and sites of the unit's version that this page has no field for, sent back as they were.
 * plan: expected rinse-back and drinks, which stay on the phone. editing: a half-written row.
 */

export const ROW_LISTS = ["readings", "events", "medicines"];
const TEXT_FACTS = { notes: "" };
const TIME_FACTS = { started_at: null, ended_at: null };

export function newDraft(page, id = crypto.randomUUID()) {
  return {
    id, account: page.account, patient: page.patient.id, stage: "writing", touchedAt: new Date().toISOString(),
    revision: null, sent: null, sentAt: null, correcting: false, section: "before",
    facts: { ...TEXT_FACTS, ...TIME_FACTS, ...Object.fromEntries(page.numbers.map((name) => [name, null])) },
    refused: {}, confirmed: [], rows: { readings: [], events: [], medicines: [] }, checks: {}, sites: {}, others: { checks: [], sites: [] },
    plan: { rinseBack: null, drinks: null }, editing: null,
    faults: [], conflict: null, unanswered: [],
  };
}

/** Rows in order of time: the unit keeps them so, and the paths in `confirmed` count in that order. */
export function inOrder(rows) {
  return [...rows].sort((a, b) => Date.parse(a.values.at) - Date.parse(b.values.at));
}

export function rowConfirmed(draft) {
  return ROW_LISTS.flatMap((list) =>
    inOrder(draft.rows[list]).flatMap((row, index) => row.confirmed.map((name) => `${list}[${index}].${name}`)),
  );
}

/** Sites in the order in which they are sent -> [[use, site]]; what this page has no field for comes last. */
function sitesInOrder(draft) {
  const chosen = Object.entries(draft.sites).filter(([, site]) => site.site);
  return [...chosen, ...draft.others.sites.map((site) => [site.use, site])];
}

function sitesOf(draft) {
  return sitesInOrder(draft).map(([use, site]) => ({
    site: site.site, use, attempts: site.attempts ?? null, bleeding_minutes: site.bleeding_minutes ?? null,
  }));
}

function sitesConfirmed(draft) {
  return sitesInOrder(draft).flatMap(([, site], index) =>
    (site.confirmed ?? []).map((name) => `sites[${index}].${name}`),
  );
}

function checksOf(draft, page) {
  const answered = page.checks.filter(({ name }) => typeof draft.checks[name]?.passed === "boolean");
  const own = answered.map(({ name, unit }) => {
    const { passed, value = null, note = "" } = draft.checks[name];
    return { name, passed, value, unit: value === null ? "" : unit, note };
  });
  return [...own, ...draft.others.checks];
}

/** The document to send, with status "open" or "finished". */
export function documentOf(draft, page, status) {
  const rows = Object.fromEntries(ROW_LISTS.map((list) => [list, inOrder(draft.rows[list]).map((row) => row.values)]));
  return {
    patient: draft.patient, status, ...draft.facts, ...rows,
    checks: checksOf(draft, page), sites: sitesOf(draft),
    confirmed: [...draft.confirmed, ...rowConfirmed(draft), ...sitesConfirmed(draft)],
  };
}

/** A draft that goes on with a document of the unit. */
export function draftFrom(document, page) {
  const draft = newDraft(page, document.id);
  for (const name of Object.keys(draft.facts)) draft.facts[name] = document[name] ?? draft.facts[name];
  draft.confirmed = (document.confirmed ?? []).filter((path) => !path.includes("["));
  for (const list of ROW_LISTS) draft.rows[list] = rowsFrom(document, list);
  takeChecks(draft, page, document.checks ?? []);
  takeSites(draft, document);
  draft.revision = document.revision;
  draft.sentAt = document.received_at;
  draft.correcting = document.status === "finished";
  draft.sent = JSON.stringify(documentOf(draft, page, document.status));
  return draft;
}

function takeChecks(draft, page, checks) {
  for (const check of checks) {
    const { name, ...answer } = check;
    if (page.checks.some((each) => each.name === name)) draft.checks[name] = answer;
    else draft.others.checks.push(check);
  }
}

function takeSites(draft, document) {
  (document.sites ?? []).forEach((site, index) => {
    const kept = { ...site, confirmed: confirmedAt(document, `sites[${index}].`) };
    if (draft.sites[site.use]) draft.others.sites.push(kept);
    else draft.sites[site.use] = kept;
  });
}

function confirmedAt(document, prefix) {
  const paths = (document.confirmed ?? []).filter((path) => path.startsWith(prefix));
  return paths.map((path) => path.slice(prefix.length));
}

function rowsFrom(document, list) {
  return (document[list] ?? []).map((values, index) => ({
    key: crypto.randomUUID(), values, confirmed: confirmedAt(document, `${list}[${index}].`),
  }));
}

/** Where a path of the document lies on the page: {list, key, name} for a row, {name} for a plain field. */
export function placeOf(path, draft) {
  const match = /^(\w+)\[(\d+)\]\.?(\w*)$/.exec(path);
  if (!match) return { name: path };
  const [, list, index, name] = match;
  if (list === "sites") {
    const [use, site] = sitesInOrder(draft)[Number(index)] ?? [];
    return { list, key: draft.sites[use] === site ? use : undefined, name };
  }
  return { list, key: ROW_LISTS.includes(list) ? inOrder(draft.rows[list])[Number(index)]?.key : undefined, name };
}

const ADDED_BY_UNIT = new Set(["id", "patient", "revision", "night", "received_at", "marks"]);
const ISO_TIME = /^\d{4}-\d\d-\d\dT\d\d:\d\d/;

function normal(value) {
  if (Array.isArray(value)) return value.map(normal);
  if (typeof value === "string") return ISO_TIME.test(value) ? new Date(value).toISOString() : value.trim();
  if (value === null || typeof value !== "object") return value;
  const entries = Object.entries(value).map(([name, inner]) => [name, normal(inner)]);
  return Object.fromEntries(entries.filter(([, inner]) => inner !== null && inner !== "").sort());
}

/** Whether the unit's document says the same as one that was sent, whatever each side leaves out. */
export function sameRecord(current, sent) {
  const [theirs, ours] = [current, sent].map((document) => {
    const facts = Object.entries(document).filter(([name]) => !ADDED_BY_UNIT.has(name));
    return JSON.stringify(normal(Object.fromEntries(facts)));
  });
  return theirs === ours;
}

/** Whether the draft holds something that the unit does not have yet. */
export function hasUnsent(draft, page) {
  const status = draft.correcting ? "finished" : "open";
  return draft.sent === null || JSON.stringify(documentOf(draft, page, status)) !== draft.sent;
}
