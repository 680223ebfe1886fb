/*
 * Why the unit did not take an entry that reached its server, and when it is tried again. Pure.
 *
 * {status, said (the server's words), tries, since, at (last try), next (ISO, or null: not by itself), told (the status
 *  that the unit was told of)}. What the unit's rules refuse (400) wants another entry and is not sent again as it is;
 * everything else may be a fault of the server, or of a filter on the way, and is tried again after longer and longer.
 */

const PAUSES = [15, 60, 5 * 60, 20 * 60, 60 * 60].map((seconds) => seconds * 1000);
/** A server that broke once may be right the next time; one that says no will say it again. */
const TRIES_BEFORE_TELLING = 3;

/**
 * The trouble after one more answer. @param {Trouble | null | undefined} before
 * @param {Pick<Answer, "kind" | "status" | "data">} answer @returns {Trouble}
 */
export function troubleAfter(before, { kind, status, data }, now = Date.now()) {
  const tries = before?.status === status ? before.tries + 1 : 1;
  const pause = PAUSES[Math.min(tries, PAUSES.length) - 1];
  const at = new Date(now).toISOString();
  return {
    status,
    said: `${data?.errors?.[0]?.message ?? data?.detail ?? ""}`.slice(0, 500),
    tries,
    since: before?.since ?? at,
    at,
    next: kind === "refused" ? null : new Date(now + pause).toISOString(),
    told: before?.told === status ? status : null,
  };
}

/** Whether an entry waits for a person, or for its next try. @param {Trouble | null | undefined} trouble */
export const rests = (trouble, now = Date.now()) => Boolean(trouble && !(Date.parse(trouble.next ?? "") <= now));

/** Whether it is refused for good as it stands. @param {Trouble | null | undefined} trouble */
export const isRefused = (trouble) => Boolean(trouble && trouble.next === null);

/** Whether the unit has to hear that it could not be handed over. @param {Trouble | null | undefined} trouble */
export const wantsTelling = (trouble) =>
  Boolean(
    trouble && trouble.told !== trouble.status && (trouble.status < 500 || trouble.tries >= TRIES_BEFORE_TELLING),
  );
