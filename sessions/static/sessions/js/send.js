/* Sending a record to the unit: every way it can end has a name, and a lost answer is simply sent again. */

import { documentOf, draftFrom, sameRecord } from "./draft.js";
import { drop, draftsOf, keep } from "./store.js";

const PATIENCE = 20_000;
const MOST_UNANSWERED = 20;

function csrfToken(page) {
  const cookies = document.cookie.split("; ").map((pair) => pair.split("="));
  return cookies.find(([name]) => name === page.csrfCookie)?.[1] ?? page.csrfToken;
}

async function call(page, address, { method = "GET", body, revision = null } = {}) {
  const headers = { Accept: "application/json", "X-CSRFToken": csrfToken(page) };
  if (body) headers["Content-Type"] = "application/json";
  if (revision !== null) headers["If-Match"] = `"${revision}"`;
  const answer = await fetch(address, {
    method, headers, body, credentials: "same-origin", keepalive: Boolean(body) && body.length < 60_000,
    signal: AbortSignal.timeout(PATIENCE),
  });
  const isJson = answer.headers.get("Content-Type")?.includes("json");
  return { status: answer.status, data: isJson ? await answer.json() : {} };
}

const ENDINGS = {
  200: ({ data }) => ({ kind: "stored", revision: data.revision }),
  201: ({ data }) => ({ kind: "stored", revision: data.revision }),
  400: ({ data }) => ({ kind: "refused", faults: data.errors ?? [{ field: "document", message: data.detail }] }),
  401: () => ({ kind: "signedOut" }),
  403: () => ({ kind: "signedOut" }),
  412: ({ data }) => ({ kind: "changed", current: data.current }),
};

/** Send one document -> {kind: stored | refused | signedOut | changed | unreachable | failed, …}. */
export async function put(page, id, body, revision) {
  const address = page.urls.treatment.replace(page.placeholder, id);
  try {
    const answer = await call(page, address, { method: "PUT", body, revision });
    if (answer.status === 428) return { kind: "changed", current: (await call(page, address)).data };
    if (answer.status in ENDINGS) return ENDINGS[answer.status](answer);
    if (answer.status >= 500 || answer.status === 429) return { kind: "unreachable", status: answer.status };
    return { kind: "failed", message: answer.data.detail ?? `The unit's server answered ${answer.status}.` };
  } catch (problem) {
    if (problem instanceof TypeError || problem.name === "TimeoutError" || problem.name === "AbortError") {
      return { kind: "unreachable" };
    }
    throw problem;
  }
}

/**
 * Put, knowing that an earlier answer may have been lost on the way: where the unit holds exactly what an
 * unanswered attempt sent, nobody else changed the record and the new version simply follows it.
 */
async function putAfterLostAnswers(page, draft, body) {
  const earlier = draft.unanswered;
  draft.unanswered = [...earlier, body].slice(-MOST_UNANSWERED);
  await keep(draft);
  let ending = await put(page, draft.id, body, draft.revision);
  if (ending.kind === "changed" && earlier.some((attempt) => sameRecord(ending.current, JSON.parse(attempt)))) {
    draft.revision = ending.current.revision;
    ending = await put(page, draft.id, body, draft.revision);
  }
  if (ending.kind !== "unreachable") draft.unanswered = [];
  return ending;
}

/** Send a draft as it stands; what came of it is written into the draft. The caller keeps it. */
export async function sendDraft(page, draft, status) {
  const body = JSON.stringify(documentOf(draft, page, status));
  const ending = await putAfterLostAnswers(page, draft, body);
  if (ending.kind === "stored") {
    Object.assign(draft, { revision: ending.revision, sent: body, sentAt: new Date().toISOString(), faults: [] });
  } else if (ending.kind === "refused") {
    draft.faults = ending.faults;
  } else if (ending.kind === "failed") {
    draft.faults = [{ field: "document", message: ending.message }];
  } else if (ending.kind === "changed") {
    draft.conflict = ending.current;
  }
  return ending;
}

export const GIVES_BACK = new Set(["refused", "failed", "changed"]);
/** Endings after which a person has to look again; the others leave the record waiting. */

/**
 * Try every record that waits on this phone -> list of {draft, ending}. One bad record never holds up the rest,
 * and two open pages never send the same one at once.
 */
export async function sendWaiting(page) {
  return navigator.locks.request("homedialysis-sending", async () => {
    const results = [];
    for (const draft of await draftsOf(page.owner)) {
      if (draft.stage !== "waiting" || draft.conflict) continue;
      results.push({ draft, ending: await handOver(page, draft) });
    }
    return results;
  });
}

async function handOver(page, draft) {
  const ending = await sendDraft(page, draft, "finished");
  if (ending.kind === "stored") {
    await drop(draft.id);
  } else {
    if (GIVES_BACK.has(ending.kind)) draft.stage = "writing";
    await keep(draft);
  }
  return ending;
}

/** A conflict settled: the unit's version in place of the own, or the own with the unit's revision. */
export function settle(draft, page, choice) {
  if (choice === "theirs") return draftFrom(draft.conflict, page);
  return { ...draft, revision: draft.conflict.revision, conflict: null };
}
