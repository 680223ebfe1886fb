/*
 * Signing out on any page of the site: what the bedside keeps on this phone goes with it, and what has not reached the
 * unit is told before. Not every browser clears its storage when the server asks it to, so the page does it itself.
 */

/** @type {HTMLFormElement | null} */
const form = document.querySelector("form[data-wipes]");
const account = form?.dataset.wipes;
/** What the bedside keeps in plain storage that says something of a person; how the page looks stays. */
const PERSONAL = ["held", "account", "patient", "night", "jotted", "unsent", "damaged", "leftout", `device.${account}`];

const plain = (name) => JSON.parse(localStorage.getItem(`bedside.${name}`) ?? "null");

/** Names of the databases here that are other people's: null where the browser does not tell. */
async function others() {
  const all = await indexedDB.databases?.().catch(() => null);
  return all?.filter(({ name = "" }) => name.startsWith("bedside-") && name !== `bedside-${account}`) ?? null;
}

function remove(name) {
  return new Promise((done) => {
    const request = indexedDB.deleteDatabase(name);
    request.onsuccess = request.onerror = request.onblocked = done;
  });
}

/** @param {HTMLFormElement} sent */
function leaveTheirs(sent) {
  const wipe = /** @type {HTMLInputElement | null} */ (sent.elements.namedItem("wipe"));
  if (wipe) wipe.disabled = true; // the header would clear what is theirs too
}

/** Everything of this account goes. Somebody else's nights on the same phone are theirs, and stay. */
async function wipe(sent) {
  const beside = await others();
  await remove(`bedside-${account}`);
  for (const name of PERSONAL) localStorage.removeItem(`bedside.${name}`);
  for (const name of await caches.keys()) await caches.delete(name);
  if (beside?.length) leaveTheirs(sent);
}

function tellUnsent() {
  if (String(plain("account")) !== account) return;
  const count = (plain("unsent") ?? 0) + (plain("jotted") ?? []).length;
  const box = document.getElementById("unsent");
  if (!count || !box) return;
  box.hidden = false;
  const number = box.querySelector("b");
  if (number) number.textContent = `${count}`;
}

if (form) {
  try {
    tellUnsent();
  } catch {
    /* no plain storage: then nothing was kept in it either */
  }
  form.addEventListener(
    "submit",
    (event) => {
      event.preventDefault();
      wipe(form)
        .catch(() => {})
        .finally(() => form.submit());
    },
    { once: true },
  );
}
