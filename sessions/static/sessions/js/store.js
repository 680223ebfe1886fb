/* Drafts on this phone: one IndexedDB store, a draft under the id that its record has at the unit. */

const NAME = "homedialysis";
const DRAFTS = "drafts";
let opened;

function open() {
  opened ??= new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => request.result.createObjectStore(DRAFTS, { keyPath: "id" });
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
    request.onblocked = () => reject(new Error("another window holds the storage"));
  });
  return opened;
}

async function run(mode, act) {
  const transaction = (await open()).transaction(DRAFTS, mode);
  const request = act(transaction.objectStore(DRAFTS));
  return new Promise((resolve, reject) => {
    transaction.oncomplete = () => resolve(request.result);
    transaction.onerror = () => reject(transaction.error);
    transaction.onabort = () => reject(transaction.error ?? new Error("the phone's storage is full"));
  });
}

export const keep = (draft) => run("readwrite", (drafts) => drafts.put(draft));
export const drop = (id) => run("readwrite", (drafts) => drafts.delete(id));
export const find = (id) => run("readonly", (drafts) => drafts.get(id));

/** Drafts of one signed-in person for one patient, newest first: another person's stay out of sight. */
export async function draftsOf({ account, patient }) {
  const all = await run("readonly", (drafts) => drafts.getAll());
  const own = all.filter((draft) => draft.account === account && draft.patient === patient);
  return own.sort((a, b) => b.touchedAt.localeCompare(a.touchedAt));
}

/** Ask the browser not to clear the drafts when space runs short. It may say no; then nothing else changes. */
export async function askToStay() {
  await navigator.storage?.persist?.();
}
