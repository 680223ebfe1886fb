/*
 * What waits to reach the unit: nights that were handed over, errands (acknowledgements, messages seen), and quietly
 * the night in progress. Each waits for itself: one bad record never holds up the rest. A lost answer is simply sent
 * again.
 */

import { documentOf, draftFrom, hasUnsent, pathInNight, sameRecord } from "./draft.js";
import * as vault from "./vault.js";
import { call } from "./wire.js";

const FIRST_WAIT = 5_000;
const LONGEST_WAIT = 10 * 60_000;
const MOST_UNANSWERED = 20;
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
 * main.js tells whose nights these are and what to do when something changed or an attempt ended (`ended(kind,
 * night)`).
 */
export function bind(context, onChange, onEnd) {
  [app, changed, ended] = [context, onChange, onEnd];
}

export async function load() {
  errands.clear();
  for (const each of await vault.all("errands")) errands.set(each.id, each);
}

/* What waits ---------------------------------------------------------------------------------------- */

/** @param {Night} night */
const waits = (night) => night.stage === "handed" && !night.delivered && !night.faults.length && !night.conflict;

/**
 * Everything that has not reached the unit -> [{id, kind: "night" | "errand", state, night?, errand?}]. state: waiting,
 * open, conflict, refused.
 */
export function list() {
  const nights = app.nights.filter((night) => !night.delivered && hasUnsent(night));
  /** @type {(night: Night) => Waiting["state"]} */
  const stateOf = (night) =>
    night.conflict ? "conflict" : night.faults.length ? "refused" : night.stage === "handed" ? "waiting" : "open";
  /** @type {Waiting[]} */
  const waiting = [
    ...nights.map((night) => ({ id: night.id, kind: /** @type {const} */ ("night"), state: stateOf(night), night })),
    ...[...errands.values()].map((errand) => ({
      id: errand.id,
      kind: /** @type {const} */ ("errand"),
      state: /** @type {Waiting["state"]} */ (errand.refused ? "refused" : "waiting"),
      errand,
    })),
  ];
  return waiting;
}

/** Whether the last attempt found nobody signed in; and when the next attempt comes (ms since the epoch, or null). */
/** @type {{signedOut: boolean, next: number | null, busy: boolean}} */
export const pulse = { signedOut: false, next: null, busy: false };

/* Sending ------------------------------------------------------------------------------------------- */

/** @param {Night} night */
const addressOf = (night) => `/api/v1/treatments/${night.id}/`;

/** @param {Night} night @param {string} body @returns {Promise<Answer>} */
async function put(night, body) {
  const answer = await call(addressOf(night), {
    method: "PUT",
    body,
    revision: night.revision,
    account: night.account,
  });
  if (answer.status === 428) {
    const now = await call(addressOf(night), { account: night.account });
    return now.kind === "ok" ? { kind: "changed", status: 428, data: {}, current: now.data } : now;
  }
  return answer.status === 412 || answer.status === 409
    ? { kind: "changed", status: answer.status, data: answer.data, current: answer.data.current ?? null }
    : answer;
}

/**
 * Where the unit holds exactly what an unanswered attempt sent, nobody else changed it: the new version simply follows.
 * @param {Night} night
 */
async function putAfterLostAnswers(night, body) {
  const earlier = night.unanswered;
  night.unanswered = [...earlier, body].slice(-MOST_UNANSWERED);
  await app.save(night);
  let answer = await put(night, body);
  const isOurs = (attempt) => sameRecord(answer.current, JSON.parse(attempt));
  if (answer.kind === "changed" && answer.current && [...earlier, body].some(isOurs)) {
    night.revision = answer.current.revision;
    answer = await put(night, body);
  }
  if (answer.kind !== "unreachable") night.unanswered = [];
  return answer;
}

/** @param {Night} night @param {Answer} answer */
const faultsOf = (night, { data = {}, status }) => {
  const told = data.errors?.length ? data.errors : [{ field: "", message: data.detail ?? `${status}` }];
  return told.map(({ field, message }) => ({ field: pathInNight(night, field ?? ""), message }));
};

/** @param {Night} night */
function takeAnswer(night, answer, body, status) {
  if (answer.kind === "ok") {
    Object.assign(night, {
      revision: answer.data.revision,
      sent: body,
      sentAt: new Date().toISOString(),
      faults: [],
      conflict: null,
    });
    if (status === "finished") night.delivered = night.sentAt;
  } else if (answer.kind === "changed" && answer.current) {
    night.conflict = answer.current;
  } else if (answer.kind === "refused" || answer.kind === "changed") {
    night.faults = faultsOf(night, answer);
  }
}

/** @param {Night} night */
async function send(night) {
  const status = night.stage === "handed" || night.correcting ? "finished" : "open";
  const body = JSON.stringify(documentOf(night, status));
  const answer = await putAfterLostAnswers(night, body);
  takeAnswer(night, answer, body, status);
  await app.save(night);
  ended(answer.kind, night, answer);
  return answer.kind;
}

async function runErrand(errand) {
  const body = JSON.stringify(errand.body ?? {});
  const answer = await call(errand.url, { method: errand.method, body, account: app.kit?.account.id });
  if (answer.kind === "refused" || answer.kind === "gone") {
    errand.refused = answer.data.errors?.[0]?.message ?? answer.data.detail ?? `${answer.status}`;
    await vault.put("errands", errand);
  } else if (answer.kind === "ok") {
    await drop(errand.id);
  }
  return answer.kind;
}

/** @param {Night} night */
const goesQuietly = (night) =>
  night.doc.started_at &&
  !night.correcting &&
  night.stage !== "handed" &&
  !night.conflict &&
  !night.faults.length &&
  hasUnsent(night);

async function attempt() {
  const kinds = [];
  const nights = app.nights.filter((night) => waits(night) || goesQuietly(night));
  for (const job of [
    ...nights.map((night) => () => send(night)),
    ...[...errands.values()].filter((each) => !each.refused).map((errand) => () => runErrand(errand)),
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
    signedOut: kinds.includes("signedOut") || (pulse.signedOut && !kinds.includes("ok") && kinds.length > 0),
  });
  tries = kinds.includes("unreachable") ? tries + 1 : 0;
  if (tries) plan();
  changed();
  return kinds;
}

/** The wait doubles each time, up to ten minutes, and varies by half so that phones do not come all at once. */
function plan() {
  const wait = Math.min(LONGEST_WAIT, FIRST_WAIT * 2 ** (tries - 1)) * (0.5 + Math.random());
  pulse.next = Date.now() + wait;
  timer = setTimeout(push, wait);
}

/* What people ask for ------------------------------------------------------------------------------- */

/** Hand a night over: it waits until the unit has it. @param {Night} night */
export async function handOver(night) {
  Object.assign(night, { stage: "handed", faults: [], conflict: null });
  await app.save(night);
  return push();
}

/** Try one again: a refused night or errand too. */
export async function retry(id) {
  const night = app.nights.find((each) => each.id === id);
  if (night) night.faults = [];
  const errand = errands.get(id);
  if (errand) delete errand.refused;
  return push();
}

/**
 * Something small to tell the unit, kept until it has it: errand({method, url, body, words}). The same url and body
 * once. `instead`: it takes the place of what waits for the same url, of which only the last counts.
 */
export async function errand({ method = "POST", url, body = {}, words = "", instead = false }) {
  const same = [...errands.values()].find(
    (each) => each.url === url && JSON.stringify(each.body) === JSON.stringify(body),
  );
  const one = same ?? { id: crypto.randomUUID(), method, url, body, words, at: new Date().toISOString() };
  errands.set(one.id, one);
  await vault.put("errands", one);
  if (instead) for (const each of [...errands.values()]) if (each.url === url && each !== one) await drop(each.id);
  push();
  return one.id;
}

/** Leave an errand that the unit refuses. */
export async function drop(id) {
  errands.delete(id);
  await vault.remove("errands", id);
}

/**
 * A conflict settled: "mine" goes on the unit's revision, "theirs" takes the place of the own.
 * @param {Night} night @param {Kit} kit
 */
export function settle(night, choice, kit) {
  if (choice === "theirs")
    return Object.assign(night, draftFrom(night.conflict, kit), { past: night.past, future: night.future });
  return Object.assign(night, { revision: night.conflict.revision, conflict: null });
}
