/*
 * Whether a night really lies on this phone: nothing says so before its writing has ended, and a writing that failed is
 * told until a later one has gone well. What came out of the phone's own storage lay there.
 */

/** What the window is told when a writing began or ended. */
export const WRITTEN = "bedside-written";

/**
 * By a night's id: how many writings are under way, when the last good one ended, whether the last one failed.
 * @type {Map<string, {under: number, at: Iso | null, failed: boolean}>}
 */
const writings = new Map();
const tell = () => window.dispatchEvent(new Event(WRITTEN));

/** @param {string} id */
export function begins(id) {
  const known = writings.get(id) ?? { under: 0, at: null, failed: false };
  writings.set(id, { ...known, under: known.under + 1 });
  tell();
}

/** @param {string} id @param {boolean} well */
export function ends(id, well) {
  const { under, at } = /** @type {{under: number, at: Iso | null}} */ (writings.get(id));
  writings.set(id, { under: under - 1, at: well ? new Date().toISOString() : at, failed: !well });
  tell();
}

/**
 * state: "kept", "writing" or "failed"; at: when the last good writing ended.
 * @param {Night} night @returns {{state: "kept" | "writing" | "failed", at: Iso}}
 */
export function keptOf(night) {
  const { under, at, failed } = writings.get(night.id) ?? { under: 0, at: null, failed: false };
  return { state: failed ? "failed" : under ? "writing" : "kept", at: at ?? night.touched_at };
}
