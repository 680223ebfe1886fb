/* The way to the unit's server: every way an answer can end has a name. */

import { plain, setPlain } from "./vault.js";

const PATIENCE = 20_000;
const SMALL_ENOUGH = 60_000;
export const CLOCK_ALLOWED = 5 * 60_000;
/** @type {number | null} */
let offset = null;

const cookie = (name) =>
  document.cookie
    .split("; ")
    .find((pair) => pair.startsWith(`${name}=`))
    ?.slice(name.length + 1);

/** This browser's own id for one account: by it the unit can take the phone back. */
export function deviceOf(account) {
  const known = plain(`device.${account}`);
  if (known) return known;
  const made = crypto.randomUUID();
  setPlain(`device.${account}`, made);
  return made;
}

/** Before it was known who is signed in, the browser spoke under an id of its own: that becomes the account's. */
export function adoptDevice(account) {
  if (!plain(`device.${account}`) && plain("device.new")) setPlain(`device.${account}`, plain("device.new"));
  setPlain("device.new", null);
}

/**
 * How far the phone's clock is ahead of the server's [ms], or null before the first contact. Rule: no time is ever
 * changed by it. Records keep the phone's times, each sending carries the phone's clock (X-Phone-Time), and the server
 * keeps the difference beside the record. Over five minutes it is told on every screen.
 */
export const clockOffset = () => offset ?? plain("offset");

function noteClock(answer, began) {
  const server = Date.parse(answer.headers.get("Date") ?? "");
  const took = Date.now() - began;
  if (Number.isNaN(server) || took > CLOCK_ALLOWED / 10) return;
  offset = Math.round(began + took / 2 - server - 500);
  setPlain("offset", offset);
}

function headersFor(account, { body, method, etag, known, type }) {
  const headers = {
    Accept: "application/json",
    "X-Phone-Time": new Date().toISOString(),
    "X-Bedside-Device": deviceOf(account ?? "new"),
    "X-Bedside-Language": document.documentElement.lang,
  };
  if (method !== "GET") headers["X-CSRFToken"] = cookie("csrftoken") ?? "";
  if (body) headers["Content-Type"] = type;
  if (etag) headers["If-Match"] = etag;
  if (known) headers["If-None-Match"] = known;
  return headers;
}

/** Nobody answered for the unit itself: a proxy without it, or one that asks to come again later. */
const NOBODY_THERE = new Set([408, 429, 502, 503, 504]);

/** The unit's own rules said no, and will again. */
const JUDGED = new Set([400, 404, 409, 412, 422, 428]);

/**
 * What an answer is. A page in the place of an answer comes from whoever owns the network: the unit was not reached.
 */
function kindOf({ status }, isWhatWasAsked) {
  if (status < 300) return isWhatWasAsked ? "ok" : "unreachable";
  if (status === 304) return "same";
  if (status === 401) return "signedOut";
  if (status === 410) return "gone";
  if (NOBODY_THERE.has(status)) return "unreachable";
  return JUDGED.has(status) && isWhatWasAsked ? "refused" : "failed";
}

/**
 * Ask the server -> {kind, status, data}. kind: ok; same (what is `known` still stands); refused (by the unit's rules);
 * failed (the server broke over it, or something on the way let it not through); signedOut; gone; unreachable. Never
 * throws for the network.
 * @param {string} address
 * @param {{method?: string, body?: any, etag?: string | null, known?: string | null, account?: any, type?: string}}
 *   [request] etag: of what is replaced; known: of what need not come again
 * @returns {Promise<Answer>}
 */
export async function call(address, request = {}) {
  const { method = "GET", body, etag, known, account, type = "application/json" } = request;
  const began = Date.now();
  const patience = new AbortController(); // the ready-made time limit is younger than phones still in use
  setTimeout(() => patience.abort(), PATIENCE);
  try {
    const answer = await fetch(address, {
      method,
      headers: headersFor(account, { body, method, etag, known, type }),
      body,
      credentials: "same-origin",
      cache: "no-store",
      redirect: "manual",
      keepalive: Boolean(body) && body.length < SMALL_ENOUGH,
      signal: patience.signal,
    });
    if (answer.type === "opaqueredirect") return { kind: "signedOut", status: 302, data: {} };
    noteClock(answer, began);
    const isJson = answer.headers.get("Content-Type")?.includes("json");
    const isWhatWasAsked = isJson || answer.status === 204 || !address.startsWith("/api/");
    return { kind: kindOf(answer, isWhatWasAsked), status: answer.status, data: isJson ? await answer.json() : {} };
  } catch (thrown) {
    const problem = /** @type {Error} */ (thrown);
    if (!(problem instanceof TypeError) && !["AbortError", "SyntaxError"].includes(problem.name)) throw problem;
    return { kind: "unreachable", status: 0, data: {} };
  }
}
