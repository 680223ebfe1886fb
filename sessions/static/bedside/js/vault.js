/*
 * What lies on this phone: one IndexedDB an account, every value AES-GCM encrypted. With a PIN the key is wrapped under
 * one that PBKDF2 makes of it and is in memory only while unlocked. Without a PIN the key lies beside the values: that
 * keeps honest people honest and no more. A short PIN holds off somebody who picks the phone up; somebody who copies
 * the storage can try all short ones on a fast machine. The screen of the settings says so.
 *
 * One window writes at a time (a lock of the browser). Where the storage refuses, everything goes on in memory and
 * state() says why.
 */

const STORES = ["nights", "copies", "kit", "errands", "meta"];
const VERSION = 2;
const ROUNDS = 600_000;
const FREE_TRIES = 5;
const LONGEST_WAIT = 60 * 60_000;
const status = { denied: false, full: false, evicted: false, taken: false, persistent: false };
let account = "";
/** @type {IDBDatabase | null} */
let base = null;
/** @type {CryptoKey | null} */
let key = null;
/** @type {((value?: any) => void) | null} */
let release = null;
/** @type {Promise<any> | null} */
let holding = null;
let onTaken = () => {};
/**
 * Rows that lie here and cannot be read, by store and id.
 * @type {Map<string, {store: string, id: string, row: any}>}
 */
const broken = new Map();

/* Small things that hold no personal data, in the browser's plain storage --------------------------- */

const memory = new Map();

/** A plain value by name; falls back to memory where the browser gives no storage. */
export function plain(name) {
  try {
    return JSON.parse(localStorage.getItem(`bedside.${name}`) ?? "null");
  } catch {
    return memory.get(name) ?? null;
  }
}

export function setPlain(name, value) {
  memory.set(name, value);
  try {
    if (value === null) localStorage.removeItem(`bedside.${name}`);
    else localStorage.setItem(`bedside.${name}`, JSON.stringify(value));
  } catch {
    /* it stays in memory until the page is closed, as the storage screen says */
  }
}

/** The database that is open; what asks for it has looked whether there is one. */
const opened = () => /** @type {IDBDatabase} */ (base);
const unlockedKey = () => /** @type {CryptoKey} */ (key);

/* The database -------------------------------------------------------------------------------------- */

const nameOf = (who) => `bedside-${who}`;
const answerOf = (request) =>
  new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

function openBase(who) {
  const request = indexedDB.open(nameOf(who), VERSION);
  request.onupgradeneeded = () => {
    for (const store of STORES)
      if (!request.result.objectStoreNames.contains(store)) request.result.createObjectStore(store, { keyPath: "id" });
  };
  return answerOf(request);
}

function finish(transaction) {
  return new Promise((resolve, reject) => {
    transaction.oncomplete = resolve;
    transaction.onerror = transaction.onabort = () =>
      reject(transaction.error ?? new DOMException("", "QuotaExceededError"));
  });
}

async function rawWrite(rows) {
  const transaction = opened().transaction([...new Set(rows.map(([store]) => store))], "readwrite", {
    durability: "strict",
  });
  for (const [store, row, gone] of rows) {
    if (gone) transaction.objectStore(store).delete(row);
    else transaction.objectStore(store).put(row);
  }
  await finish(transaction);
}

const rawRead = (store, id) => answerOf(opened().transaction(store).objectStore(store).get(id));

/** Open the storage of an account -> "open" | "locked" | "denied" | "taken". Never throws. */
export async function open(who) {
  await close();
  account = who;
  return (await claim()) ? enter() : "taken";
}

async function enter() {
  const who = account;
  try {
    base = await openBase(who);
    opened().onversionchange = () => base?.close();
    const holder = await rawRead("meta", "key");
    status.denied = false;
    status.evicted = !holder && plain("held") === who;
    if (holder?.wrapped) return "locked";
    key = holder?.key ?? (await freshKey());
    if (!holder) await rawWrite([["meta", { id: "key", key }]]);
    setPlain("held", who);
    return "open";
  } catch (problem) {
    refuse(problem);
    key = null;
    return "denied";
  }
}

/** Let go of the database and of the right to write; the lock is free once this is done. */
async function close() {
  broken.clear();
  base?.close();
  base = key = null;
  release?.();
  release = null;
  await holding;
}

function refuse(problem) {
  console.warn("The phone's storage refused:", problem?.name, problem?.message);
  if (problem?.name === "QuotaExceededError") status.full = true;
  else status.denied = true;
}

/** Why the storage does not hold what it should: {ok, denied, full, evicted, taken, persistent, pin, locked}. */
export const state = () => ({
  ...status,
  ok: !status.denied && !status.full && !status.taken,
  locked: Boolean(base) && !key,
  account,
});
export const forgetEvicted = () => {
  status.evicted = false;
};

/** See whether the browser has promised not to clear the storage; this asks nobody. */
export async function seeWhetherItStays() {
  status.persistent = (await navigator.storage?.persisted?.().catch(() => false)) ?? false;
}

/** Whether the browser can be asked for that promise. */
export const canAskToStay = () => Boolean(navigator.storage?.persist);

/**
 * Ask the browser not to clear the storage when space runs short. It may say no: the settings show which. Some ask the
 * person, who may leave the question open for ever: only after a touch, and nothing may wait for the answer.
 */
export async function askToStay() {
  status.persistent = (await navigator.storage?.persist?.().catch(() => false)) ?? false;
}

/* One writer ---------------------------------------------------------------------------------------- */

function claim(steal = false) {
  if (!navigator.locks) return true;
  return new Promise((resolve) => {
    const whenGranted = (lock) => {
      resolve(Boolean(lock));
      status.taken = !lock;
      return (
        lock &&
        new Promise((done) => {
          release = done;
        })
      );
    };
    const options = steal ? { steal: true } : { ifAvailable: true };
    holding = navigator.locks.request(nameOf(account), options, whenGranted).catch(() => {
      status.taken = true;
      base?.close();
      base = key = release = null;
      onTaken();
    });
  });
}

/** Another window took over: it is told here. */
export const whenTaken = (act) => {
  onTaken = act;
};

/** Take the storage from another window, which then stops writing. */
export async function takeOver() {
  await claim(true);
  return enter();
}

/* Values -------------------------------------------------------------------------------------------- */

async function seal(store, value, under = unlockedKey()) {
  const iv = crypto.getRandomValues(new Uint8Array(12));
  const text = new TextEncoder().encode(JSON.stringify(value));
  const bound = new TextEncoder().encode(`${store}/${value.id}`);
  return {
    id: value.id,
    iv,
    body: await crypto.subtle.encrypt({ name: "AES-GCM", iv, additionalData: bound }, under, text),
  };
}

async function unseal(store, row) {
  const bound = new TextEncoder().encode(`${store}/${row.id}`);
  return JSON.parse(
    new TextDecoder().decode(
      await crypto.subtle.decrypt({ name: "AES-GCM", iv: row.iv, additionalData: bound }, unlockedKey(), row.body),
    ),
  );
}

let line = Promise.resolve();
/**
 * One thing after the other: nothing is sealed under a key that is just being changed.
 * @param {() => any} act @returns {Promise<any>}
 */
const inLine = (act) => {
  const result = line.then(act);
  line = result.catch(() => {});
  return result;
};

/** @param {() => any} make the rows, or a promise of them */
async function write(make) {
  try {
    await rawWrite(await make());
    status.full = status.denied = false;
    return true;
  } catch (problem) {
    refuse(problem);
    return false;
  }
}

/**
 * Keep a value that has an `id` -> whether it is on the phone now.
 * @param {string} store @param {any} value @returns {Promise<boolean>}
 */
export const put = (store, value) =>
  inLine(async () => {
    broken.delete(`${store}/${value.id}`);
    return Boolean(base && key) && write(async () => [[store, await seal(store, value)]]);
  });
export const remove = (store, id) =>
  inLine(async () => {
    broken.delete(`${store}/${id}`);
    return Boolean(base) && write(() => [[store, id, true]]);
  });

export async function get(store, id) {
  const row = base && key && (await rawRead(store, id).catch(() => null));
  return row ? readable(store, row) : null;
}

/** Every value of a store; one that cannot be read stays where it is, and `damaged` tells of it. */
export async function all(store) {
  if (!base || !key) return [];
  const rows = await answerOf(base.transaction(store).objectStore(store).getAll());
  const sealed = rows.filter((row) => row.body || store !== "meta");
  const values = await Promise.all(sealed.map((row) => readable(store, row)));
  return values.filter(Boolean);
}

async function readable(store, row) {
  const value = await unseal(store, row).catch(() => null);
  if (!value || value.damaged) broken.set(`${store}/${row.id}`, { store, id: row.id, row: value ?? row });
  return value?.damaged ? null : value;
}

/* What lies here and cannot be read ------------------------------------------------------------------ */

/** Rows of people's entries that cannot be read; what the unit sent comes again by itself. */
export const damaged = () => [...broken.values()].filter(({ store }) => ["nights", "errands"].includes(store));

const asText = (bytes) => btoa(Array.from(new Uint8Array(bytes ?? []), (each) => String.fromCharCode(each)).join(""));

/**
 * What is left of a damaged row, for a file -> {id, store, damaged, raw, text}. text: what the cipher gives without the
 * proof that nobody changed it (GCM is counter mode with such a proof: NIST SP 800-38D), so that somebody can read what
 * is whole in it. It never goes into a record by itself.
 */
export async function salvage({ store, id, row }) {
  if (row.damaged) return row;
  return { id, store, damaged: true, raw: asText(row.body), text: await unproved(row).catch(() => "") };
}

async function unproved({ iv, body }) {
  const plainKey = await crypto.subtle.exportKey("raw", unlockedKey());
  const under = await crypto.subtle.importKey("raw", plainKey, "AES-CTR", false, ["decrypt"]);
  const counter = new Uint8Array([...iv, 0, 0, 0, 2]);
  const whole = body.slice(0, body.byteLength - 16);
  return new TextDecoder().decode(await crypto.subtle.decrypt({ name: "AES-CTR", counter, length: 32 }, under, whole));
}

/** What may be read while locked: the unit's emergency cards, nothing of the patient. */
export const putOpen = (id, value) => (base ? rawWrite([["meta", { id, open: value }]]).catch(refuse) : null);
export const getOpen = async (id) => (base ? ((await rawRead("meta", id).catch(() => null))?.open ?? null) : null);

/* The PIN ------------------------------------------------------------------------------------------- */

const freshKey = () => crypto.subtle.generateKey({ name: "AES-GCM", length: 256 }, true, ["encrypt", "decrypt"]);

async function keyOfPin(pin, salt, iterations) {
  const secret = await crypto.subtle.importKey("raw", new TextEncoder().encode(pin), "PBKDF2", false, ["deriveKey"]);
  return crypto.subtle.deriveKey(
    { name: "PBKDF2", hash: "SHA-256", salt, iterations },
    secret,
    { name: "AES-GCM", length: 256 },
    false,
    ["wrapKey", "unwrapKey"],
  );
}

async function wrapped(fresh, pin) {
  const [salt, iv] = [crypto.getRandomValues(new Uint8Array(16)), crypto.getRandomValues(new Uint8Array(12))];
  const under = await keyOfPin(pin, salt, ROUNDS);
  return {
    id: "key",
    salt,
    iv,
    iterations: ROUNDS,
    wrapped: await crypto.subtle.wrapKey("raw", fresh, under, { name: "AES-GCM", iv }),
  };
}

export const hasPin = async () => Boolean(base && (await rawRead("meta", "key"))?.wrapped);

/** Set, change or ("") take away the PIN: everything is written anew under a fresh key, in one transaction. */
export const setPin = (pin) => inLine(() => rekey(pin));

async function rekey(pin) {
  const fresh = await freshKey();
  const rows = [];
  for (const store of STORES) for (const value of await all(store)) rows.push([store, await seal(store, value, fresh)]);
  for (const each of broken.values()) rows.push([each.store, await seal(each.store, await salvage(each), fresh)]);
  const holder = pin ? await wrapped(fresh, pin) : { id: "key", key: fresh };
  await rawWrite([...rows, ["meta", holder], ["meta", "tries", true]]);
  key = fresh;
}

/** Try a PIN -> {open: true} or {open: false, wait: ms until the next try, tries}. Nothing is ever wiped by trying. */
export async function unlock(pin) {
  const tries = (await rawRead("meta", "tries")) ?? { id: "tries", count: 0, until: 0 };
  if (tries.until > Date.now()) return { open: false, wait: tries.until - Date.now(), tries: tries.count };
  const holder = await rawRead("meta", "key");
  try {
    const under = await keyOfPin(pin, holder.salt, holder.iterations);
    key = await crypto.subtle.unwrapKey(
      "raw",
      holder.wrapped,
      under,
      { name: "AES-GCM", iv: holder.iv },
      "AES-GCM",
      true,
      ["encrypt", "decrypt"],
    );
    await rawWrite([["meta", "tries", true]]);
    setPlain("held", account);
    return { open: true };
  } catch {
    const count = tries.count + 1;
    const wait = count < FREE_TRIES ? 0 : Math.min(LONGEST_WAIT, 30_000 * 2 ** (count - FREE_TRIES));
    await rawWrite([["meta", { id: "tries", count, until: Date.now() + wait }]]);
    return { open: false, wait, tries: count };
  }
}

/** Forget the key once everything is written; only the PIN opens again. */
export const lock = () =>
  inLine(() => {
    key = null;
  });

/* Wiping -------------------------------------------------------------------------------------------- */

/** Whether another person keeps something on this phone. */
export async function othersHere() {
  const all = (await indexedDB.databases?.().catch(() => [])) ?? [];
  return all.some(({ name }) => name?.startsWith("bedside-") && name !== nameOf(account));
}

/** Everything of this account goes, and the caches; the light and the hand that were chosen stay. */
export async function wipe() {
  const who = account;
  await close();
  await new Promise((done) => {
    const request = indexedDB.deleteDatabase(nameOf(who));
    request.onsuccess = request.onerror = request.onblocked = done;
  });
  for (const name of ["held", "account", "patient", "night", "jotted", "unsent", "damaged", "leftout", `device.${who}`])
    setPlain(name, null);
  for (const name of (await globalThis.caches?.keys?.().catch(() => [])) ?? []) await caches.delete(name);
}
