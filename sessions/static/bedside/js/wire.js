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

function headersFor(account, { body, method, revision, type }) {
  const headers = {
    Accept: "application/json",
    "X-Phone-Time": new Date().toISOString(),
    "X-Bedside-Device": deviceOf(account ?? "new"),
    "X-Bedside-Language": document.documentElement.lang,
  };
  if (method !== "GET") headers["X-CSRFToken"] = cookie("csrftoken") ?? "";
  if (body) headers["Content-Type"] = type;
  if (revision != null) headers["If-Match"] = `"${revision}"`;
  return headers;
}

const kindOf = (status) => {
  if (status < 300) return "ok";
  if (status === 401 || status === 403) return "signedOut";
  if (status === 410) return "gone";
  return status >= 500 || status === 429 || status === 408 ? "unreachable" : "refused";
};

/**
 * Ask the server -> {kind: ok | refused | signedOut | gone | unreachable, status, data}. Never throws for the network.
 * @param {string} address
 * @param {{method?: string, body?: any, revision?: number | null, account?: any, type?: string}} [request]
 * @returns {Promise<Answer>}
 */
export async function call(address, { method = "GET", body, revision, account, type = "application/json" } = {}) {
  const began = Date.now();
  const patience = new AbortController(); // the ready-made time limit is younger than phones still in use
  setTimeout(() => patience.abort(), PATIENCE);
  try {
    const answer = await fetch(address, {
      method,
      headers: headersFor(account, { body, method, revision, type }),
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
    return { kind: kindOf(answer.status), status: answer.status, data: isJson ? await answer.json() : {} };
  } catch (thrown) {
    const problem = /** @type {Error} */ (thrown);
    if (!(problem instanceof TypeError) && !["AbortError", "SyntaxError"].includes(problem.name)) throw problem;
    return { kind: "unreachable", status: 0, data: {} };
  }
}
