/*
 * What waits to reach the unit: nights that were handed over, errands (acknowledgements, messages seen), and quietly
 * the night in progress. Each waits for itself: one bad record never holds up the rest, and what the unit's server did
 * not take is told to the unit by itself. A lost answer is simply sent again. Where another phone wrote on the same
 * night, the two are put together (merge.js) and sent as one.
 */

import { documentOf, hasUnsent, holderOf, joinTheirs, openQuestions, pathInNight, statusOf } from "./draft.js";
import { isRefused, rests, troubleAfter, wantsTelling } from "./trouble.js";
import * as vault from "./vault.js";
import { call } from "./wire.js";

const FIRST_WAIT = 5_000;
const LONGEST_WAIT = 10 * 60_000;
const MOST_UNANSWERED = 20;
/** How often a night is put together with a newer version in one go, before it waits for its next turn. */
const MOST_JOINS = 4;
/** @type {Map<string, Errand>} */
const errands = new Map();
/** @type {Pick<Ctx, "nights" | "save"> & {kit: Kit | null}} */
let app = { nights: [], save: async () => {}, kit: null };
let changed = () => {};
/** @type {(kind: Answer["kind"], night: Night, answer: Answer) => void} */
let ended = () => {};
/** @type {number | undefined} */
let timer;
let tries = 0;
/** @type {Promise<string[]> | null} */
let running = null;
let again = false;

/**
 * main.js tells whose nights these are and what to do when something changed or an attempt ended: `ended(kind, night,
 * answer)`.
 */
export function bind(context, onChange, onEnd) {
  [app, changed, ended] = [context, onChange, onEnd];
}

export async function load() {
  errands.clear();
  for (const each of await vault.all("errands")) errands.set(each.id, each);
}

/* What waits ---------------------------------------------------------------------------------------- */

/** @param {Night} night @returns {Waiting["state"]} */
function stateOf(night) {
  if (openQuestions(night).length) return "conflict";
  if (night.faults.length || isRefused(night.trouble)) return "refused";
  if (night.trouble) return "failed";
  return night.stage === "handed" ? "waiting" : "open";
}

/** @param {Night} night */
const waits = (night) => hasUnsent(night) || openQuestions(night).length > 0 || Boolean(night.trouble);

/**
 * Everything that has not reached the unit -> [{id, kind: "night" | "errand" | "damaged", state, night?, errand?,
 * row?}]. state: waiting, open, conflict (two phones, one field: somebody has to say), refused, failed (it is tried
 * again), damaged (it lies on the phone and cannot be read).
 */
export function list() {
  const nights = app.nights.filter(waits);
  const told = [...errands.values()].filter((errand) => !errand.quiet);
  /** @type {Waiting[]} */
  const waiting = [
    ...nights.map((night) => ({ id: night.id, kind: /** @type {const} */ ("night"), state: stateOf(night), night })),
    ...told.map((errand) => ({
      id: errand.id,
      kind: /** @type {const} */ ("errand"),
      state: /** @type {Waiting["state"]} */ (
        isRefused(errand.trouble) ? "refused" : errand.trouble ? "failed" : "waiting"
      ),
      errand,
    })),
    ...vault.damaged().map((row) => ({
      id: row.id,
      kind: /** @type {const} */ ("damaged"),
      state: /** @type {const} */ ("damaged"),
      row,
    })),
  ];
  return waiting;
}

/**
 * Whether the last attempt found nobody signed in; whether it reached the unit at all; and when the next attempt comes
 * (ms since the epoch, or null).
 * @type {{signedOut: boolean, reached: boolean, next: number | null, busy: boolean}}
 */
export const pulse = { signedOut: false, reached: true, next: null, busy: false };

/* Sending ------------------------------------------------------------------------------------------- */

/** @param {Night} night */
const addressOf = (night) => `/api/v1/treatments/${night.id}/`;

/** @param {Night} night @param {string} body @returns {Promise<Answer>} */
async function put(night, body) {
  const answer = await call(addressOf(night), {
    method: "PUT",
    body,
    etag: night.etag,
    account: night.account,
  });
  if (answer.status === 412 && answer.data.current === null) {
    Object.assign(night, { revision: null, etag: null }); // what stood there went with a backup that was brought back
    return put(night, body);
  }
  if (answer.status === 428) {
    const now = await call(addressOf(night), { account: night.account });
    return now.kind === "ok" ? { kind: "changed", status: 428, data: {}, current: now.data } : now;
  }
  return answer.status === 412 && answer.data.current
    ? { kind: "changed", status: answer.status, data: answer.data, current: answer.data.current }
    : answer;
}

/** Each body is kept until it is answered: the unit may have taken it all the same. @param {Night} night */
async function putKept(night, body) {
  if (night.unanswered.at(-1) !== body) night.unanswered = [...night.unanswered, body].slice(-MOST_UNANSWERED);
  await app.save(night);
  return put(night, body);
}

/** @param {Night} night @param {Answer} answer */
const faultsOf = (night, { data }) =>
  (data?.errors ?? []).map(({ field, message }) => ({ field: pathInNight(night, field ?? ""), message }));

/** @param {Night} night @param {Answer} answer @param {string} body */
function takeAnswer(night, answer, body) {
  if (!["unreachable", "signedOut", "gone"].includes(answer.kind)) night.unanswered = [];
  if (answer.kind === "ok") {
    const sentAt = new Date().toISOString();
    const { revision, etag } = answer.data;
    Object.assign(night, { revision, etag, sent: body, sentAt, faults: [], trouble: null });
    if (JSON.parse(body).status !== "open") night.delivered = sentAt;
  } else if (answer.kind === "refused" || answer.kind === "failed") {
    night.faults = answer.kind === "refused" ? faultsOf(night, answer) : [];
    night.trouble = troubleAfter(night.trouble, answer);
  }
}

/** Send a night; where the unit's is newer, both are put together first. @param {Night} night */
async function send(night) {
  let body = JSON.stringify(documentOf(night, statusOf(night)));
  let answer = await putKept(night, body);
  for (let count = 0; answer.kind === "changed" && count < MOST_JOINS; count += 1) {
    night.unanswered = night.unanswered.filter((each) => each !== body); // answered: it was not taken
    joinTheirs(night, answer.current);
    night.trouble = null;
    await app.save(night);
    if (!hasUnsent(night)) {
      ended("ok", night, answer);
      return "ok";
    }
    body = JSON.stringify(documentOf(night, statusOf(night)));
    answer = await putKept(night, body);
  }
  takeAnswer(night, answer, body);
  await app.save(night);
  if (wantsTelling(night.trouble)) await tellTheUnit(night);
  ended(answer.kind, night, answer);
  return answer.kind;
}

/**
 * Ask whether another phone wrote on a night, and take it over -> whether anything here changed.
 * @param {Night} night
 */
export async function listen(night) {
  if (night.revision === null || running) return false;
  const known = { account: night.account, known: night.etag };
  const answer = await call(addressOf(night), known);
  if (answer.kind !== "ok" || running || answer.data.etag === night.etag) return false;
  const isNew = joinTheirs(night, answer.data);
  await app.save(night);
  changed();
  return isNew;
}

async function runErrand(errand) {
  const body = JSON.stringify(errand.body ?? {});
  const answer = await call(errand.url, { method: errand.method, body, account: app.kit?.account.id });
  if (answer.kind === "ok") {
    await drop(errand.id, "sent");
  } else if (["refused", "failed", "gone"].includes(answer.kind)) {
    errand.trouble = troubleAfter(errand.trouble, answer);
    if (errand.quiet && isRefused(errand.trouble)) await drop(errand.id);
    else await vault.put("errands", errand);
    if (!errand.quiet && wantsTelling(errand.trouble)) await tellTheUnit(errand);
  }
  return answer.kind;
}

/** @param {Night} night */
const goesQuietly = (night) => night.doc.started_at && !night.correcting && night.stage !== "handed";

/** Whether a night is sent now. @param {Night} night */
const isDue = (night) =>
  (night.stage === "handed" || goesQuietly(night)) && hasUnsent(night) && !night.faults.length && !rests(night.trouble);

async function attempt() {
  const kinds = [];
  const due = [...errands.values()].filter((each) => !rests(each.trouble));
  for (const job of [
    ...app.nights.filter(isDue).map((night) => () => send(night)),
    ...due.map((errand) => () => runErrand(errand)),
  ]) {
    kinds.push(await job());
    if (kinds.at(-1) === "signedOut") break;
  }
  return kinds;
}

/**
 * Try everything now -> what came of each. Two attempts never run at once; what came while one ran goes right after it.
 */
export function push() {
  again = Boolean(running);
  running ??= attemptNow().finally(() => {
    running = null;
    if (again) push();
  });
  return running;
}

async function attemptNow() {
  clearTimeout(timer);
  Object.assign(pulse, { busy: true, next: null });
  changed();
  const kinds = await attempt();
  Object.assign(pulse, {
    busy: false,
    reached: !kinds.length || kinds.some((kind) => kind !== "unreachable"),
    signedOut: kinds.includes("signedOut") || (pulse.signedOut && !kinds.includes("ok") && kinds.length > 0),
  });
  tries = kinds.includes("unreachable") ? tries + 1 : 0;
  plan();
  changed();
  return kinds;
}

/**
 * The wait for the network doubles each time, up to ten minutes, and varies by half so that phones do not come all at
 * once. What the server did not take has its own pause.
 */
function plan() {
  const wait = Math.min(LONGEST_WAIT, FIRST_WAIT * 2 ** (tries - 1)) * (0.5 + Math.random());
  const own = [...app.nights.filter((night) => hasUnsent(night)), ...errands.values()]
    .map(({ trouble }) => Date.parse(trouble?.next ?? ""))
    .filter((next) => !Number.isNaN(next))
    .map((next) => Math.max(next - Date.now(), 1000));
  const soonest = Math.min(...(tries ? [wait] : []), ...own);
  if (!Number.isFinite(soonest)) return;
  pulse.next = Date.now() + soonest;
  timer = setTimeout(push, soonest);
}

/* What could not be handed over: the unit hears of it, so that somebody calls ------------------------ */

/** @param {string} id */
const stuckAddress = (id) => `/api/v1/bedside/not-handed-over/${id}/`;

/** Whether the unit still has to hear of an entry. @param {string} id */
export const isTelling = (id) => [...errands.values()].some(({ url }) => url === stuckAddress(id));

/** @param {Night | Errand} entry */
async function tellTheUnit(entry) {
  const { trouble } = entry;
  const night = "doc" in entry ? entry : null;
  if (!trouble) return;
  trouble.told = trouble.status;
  if (night) await app.save(night);
  else await vault.put("errands", entry);
  await tell(entry.id, {
    what: night ? "treatment" : "note",
    words: night ? "" : /** @type {Errand} */ (entry).words,
    started_at: night?.doc.started_at ?? null,
    status: trouble.status,
    said: trouble.said,
    tries: trouble.tries,
    since: trouble.since,
  });
}

/** @param {{id: string, store: string}} row */
export const tellDamaged = (row) =>
  tell(row.id, { what: "damaged", words: row.store, started_at: null, status: null, said: "", tries: 0 });

/** @param {string} id */
function tell(id, body) {
  const since = body.since ?? new Date().toISOString();
  const patient = app.kit?.patient?.id;
  return errand({
    method: "PUT",
    url: stuckAddress(id),
    body: { ...body, patient, since },
    instead: true,
    quiet: true,
  });
}

/** @param {string} id @param {"sent" | "left"} how */
export const tellItIsOver = (id, how) =>
  errand({ method: "DELETE", url: `${stuckAddress(id)}?how=${how}`, quiet: true });

/* What people ask for ------------------------------------------------------------------------------- */

/** Hand a night over: it waits until the unit has it. @param {Night} night */
export async function handOver(night) {
  Object.assign(night, { stage: "handed", faults: [], trouble: null });
  await app.save(night);
  return push();
}

/** Try one again now: a refused night or errand too. What the unit was told of it is kept. @param {string} id */
export async function retry(id) {
  const night = app.nights.find((each) => each.id === id);
  const entry = night ?? errands.get(id);
  if (night) night.faults = [];
  if (entry?.trouble) entry.trouble = { ...entry.trouble, next: new Date(0).toISOString() };
  return push();
}

/**
 * Something small to tell the unit, kept until it has it: errand({method, url, body, words}). The same url and body
 * once. `instead`: it takes the place of what waits for the same url, of which only the last counts. `quiet`: it is no
 * entry of a person, and not listed.
 */
export async function errand({ method = "POST", url, body = {}, words = "", instead = false, quiet = false }) {
  const isSame = (each) =>
    each.method === method && each.url === url && JSON.stringify(each.body) === JSON.stringify(body);
  const known = [...errands.values()].find(isSame);
  const one = known ?? { id: crypto.randomUUID(), method, url, body, words, quiet, at: new Date().toISOString() };
  errands.set(one.id, one);
  await vault.put("errands", one);
  if (instead) for (const each of [...errands.values()]) if (each.url === url && each !== one) await drop(each.id);
  push();
  return one.id;
}

/** Leave an errand, or let it go once it was sent. @param {string} id @param {"sent" | "left"} how */
export async function drop(id, how = "left") {
  const wasTold = errands.get(id)?.trouble?.told;
  errands.delete(id);
  await vault.remove("errands", id);
  if (wasTold) await tellItIsOver(id, how);
}

/**
 * One question answered. @param {Night} night @param {{list: string, id: string, field: string, mine: any}} question
 * @param {"mine" | "theirs"} choice
 */
export function settle(night, question, choice) {
  const holder = holderOf(night, question);
  if (holder && choice === "mine") holder[question.field] = question.mine;
  night.questions = night.questions.filter((each) => each !== question);
}
