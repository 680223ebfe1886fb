/*
 * Keeps one release of the bedside on the phone: its page, scripts, styles and words.
 * The unit's answers are never kept.
 */

/** @type {ServiceWorkerGlobalScope} */
const worker = /** @type {any} */ (self);
const RELEASE = "{{ release }}";
const SHELL = "{{ shell }}";
const OFFLINE = "{{ offline }}";
/** @type {string[]} */
const FILES = /** @type {any} */ ("{{ files }}");
const SERVED_AS_SHELL = new Set("{{ shells }}");
const STORE = `bedside-${RELEASE}`;
const PATIENCE = 20_000;

/** What was asked, or a refusal after as long as the bedside waits: a server that swallows it is as good as none. */
const inTime = (asked) =>
  Promise.race([asked, new Promise((_, refuse) => setTimeout(refuse, PATIENCE, new Error("no answer in time")))]);

/** A page of this very release, or an error: never a sign-in page, never an error page, never another release. */
async function ownPage(address) {
  const answer = await fetch(address, { credentials: "same-origin", redirect: "manual", cache: "no-store" });
  const release = answer.headers.get("X-Bedside-Release");
  if (answer.status !== 200 || release !== RELEASE) {
    throw new Error(`${address}: answer ${answer.status}, release ${release}`);
  }
  return answer;
}

async function file(address) {
  const answer = await fetch(address, { credentials: "same-origin", redirect: "error" });
  if (answer.status !== 200) throw new Error(`${address}: answer ${answer.status}`);
  return answer;
}

/** All or nothing: half a release would fail at night. */
async function fill() {
  const pages = [SHELL, OFFLINE];
  const answers = await Promise.all([...pages.map(ownPage), ...FILES.map(file)]);
  const store = await caches.open(STORE);
  await Promise.all([...pages, ...FILES].map((address, index) => store.put(address, answers[index])));
}

async function kept(address) {
  const store = await caches.open(STORE);
  return store.match(address, { ignoreVary: true, ignoreSearch: address === SHELL });
}

/** Which of its files the browser no longer has. */
async function lacking() {
  const store = await caches.open(STORE);
  const there = new Set((await store.keys()).map(({ url }) => new URL(url).pathname));
  return [SHELL, OFFLINE, ...FILES].filter((address) => !there.has(address));
}

/** Fetch anew what the browser cleared -> how many files are lacking all the same. */
async function refill() {
  if ((await lacking()).length) await fill().catch(() => {});
  return (await lacking()).length;
}

worker.addEventListener("install", (event) => event.waitUntil(fill()));

worker.addEventListener("activate", (event) =>
  event.waitUntil(
    (async () => {
      for (const name of await caches.keys())
        if (name.startsWith("bedside-") && name !== STORE) await caches.delete(name);
      await worker.clients.claim();
    })(),
  ),
);

worker.addEventListener("message", (event) => {
  if (event.data === "take over") worker.skipWaiting();
  if (event.data === "fill") event.waitUntil(refill().then((count) => event.ports[0]?.postMessage(count)));
});

async function page(request, pathname) {
  const shell = SERVED_AS_SHELL.has(pathname) ? await kept(SHELL) : undefined;
  if (shell) return shell;
  try {
    return await inTime(fetch(request));
  } catch (problem) {
    const offline = await kept(OFFLINE);
    if (offline) return offline;
    throw problem;
  }
}

worker.addEventListener("fetch", (event) => {
  const { request } = event;
  const address = new URL(request.url);
  if (request.method !== "GET" || address.origin !== worker.location.origin) return;
  if (address.pathname.startsWith("/api/")) return;
  if (request.mode === "navigate") event.respondWith(page(request, address.pathname));
  else if (FILES.includes(address.pathname)) {
    event.respondWith(kept(address.pathname).then((found) => found ?? fetch(request)));
  }
});
