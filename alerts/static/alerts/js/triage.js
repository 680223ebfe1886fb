// The list on the triage page and the story on a patient's page renew themselves: not while nobody looks, never
// silently old, and without moving what the reader has opened or where the focus is. And the keys that spare a hand
// the way to the mouse.

const note = document.getElementById("live-note");
const trouble = document.getElementById("live-trouble");
/** What htmx says of a request. @param {Event} event */
const detailOf = (event) => /** @type {CustomEvent} */ (event).detail;
const isLive = (element) => element instanceof Element && element.hasAttribute("data-live");

document.body.addEventListener("htmx:beforeRequest", (event) => {
  // A patient's picture that is open holds the list still: what somebody types there is not swept away.
  if (isLive(detailOf(event).target) && (document.hidden || openPanel())) event.preventDefault();
});

document.addEventListener("visibilitychange", () => {
  const list = document.querySelector("[data-live]");
  if (!document.hidden && list) window.htmx.trigger(list, "wake");
});

document.body.addEventListener("htmx:afterRequest", (event) => {
  const { successful, target, xhr } = detailOf(event);
  if (!isLive(target) || !trouble || !note) return;
  trouble.hidden = successful;
  if (!successful || xhr.status === 204) return;
  const time = new Date().toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
  note.textContent = (note.dataset.changed || "{time}").replace("{time}", time);
});

// What was open stays open, and the focus stays on the same element.
/** @type {string[]} */
let opened = [];

document.body.addEventListener("htmx:beforeSwap", (event) => {
  const { target } = detailOf(event);
  if (!isLive(target)) return;
  opened = [...target.querySelectorAll("details[open][id]")].map((part) => part.id);
});

document.body.addEventListener("htmx:afterSwap", () => {
  for (const id of opened) document.getElementById(id)?.setAttribute("open", "");
});

// A line opens to the patient's picture, one at a time -------------------------------------------------------------

const openPanel = () => document.querySelector(".opener[aria-expanded='true']");

/** @param {HTMLElement} opener */
function shut(opener) {
  opener.setAttribute("aria-expanded", "false");
  const place = document.getElementById(opener.getAttribute("aria-controls") || "");
  place?.replaceChildren();
  place?.closest("tr")?.setAttribute("hidden", "");
  if (note) note.textContent = note.dataset.again || "";
}

/** @param {HTMLElement} opener */
async function unfold(opener) {
  const place = document.getElementById(opener.getAttribute("aria-controls") || "");
  const answer = await fetch(opener.dataset.picture || "", { headers: { "HX-Request": "true" } });
  if (!place || !answer.ok) {
    if (trouble) trouble.hidden = false;
    return;
  }
  const other = openPanel();
  if (other instanceof HTMLElement) shut(other);
  opener.setAttribute("aria-expanded", "true");
  place.innerHTML = await answer.text();
  place.closest("tr")?.removeAttribute("hidden");
  if (note) note.textContent = note.dataset.held || "";
  opener.scrollIntoView({ block: "start" });
  tickWithOutcome();
}

document.body.addEventListener("click", (event) => {
  const opener = event.target instanceof Element ? event.target.closest(".opener") : null;
  if (!(opener instanceof HTMLElement)) return;
  if (opener.getAttribute("aria-expanded") === "true") shut(opener);
  else unfold(opener);
});

// On paper everything is open.
window.addEventListener("beforeprint", () => {
  /** @type {NodeListOf<HTMLElement>} */
  const stamps = document.querySelectorAll("[data-stamp]");
  for (const stamp of stamps) {
    stamp.dataset.stamp ||= stamp.textContent || "";
    stamp.textContent = stamp.dataset.stamp.replace("{time}", new Date().toLocaleString());
  }
  /** @type {NodeListOf<HTMLDetailsElement>} */
  const all = document.querySelectorAll("details.parts");
  for (const part of all) part.open = true;
});

// What keeps an act from being done takes the focus, and with it the eye.
document.getElementById("problem")?.focus();

// Whoever says what came of an alert means that alert.
function tickWithOutcome() {
  for (const choice of document.querySelectorAll(".act-row select")) {
    choice.addEventListener("change", () => {
      const box = choice.closest(".act-row")?.querySelector("input[type=checkbox]");
      if (box instanceof HTMLInputElement && choice instanceof HTMLSelectElement) box.checked = choice.value !== "";
    });
  }
}

tickWithOutcome();

// Keys -------------------------------------------------------------------------------------------------------------

const KEPT = "keys-off";
const keys = document.getElementById("keys");
const toggle = document.getElementById("keys-switch");

function kept() {
  try {
    return localStorage.getItem(KEPT) === "yes";
  } catch {
    return false;
  }
}

/** @param {HTMLElement} toggle @param {boolean} off */
function show(toggle, off) {
  toggle.textContent = (off ? toggle.dataset.off : toggle.dataset.on) || "";
  toggle.setAttribute("aria-pressed", String(!off));
}

let off = kept();
if (keys && toggle) {
  keys.hidden = false;
  show(toggle, off);
  toggle.addEventListener("click", () => {
    off = !off;
    show(toggle, off);
    try {
      localStorage.setItem(KEPT, off ? "yes" : "no");
    } catch {
      // A browser that keeps nothing: it holds for this page.
    }
  });
}

/** @returns {HTMLElement[]} */
const links = () => [...document.querySelectorAll(".bundle-link")].filter((each) => each instanceof HTMLElement);

/** @returns {HTMLElement | null} */
function here() {
  const bundle = document.activeElement?.closest(".bundle, .hand-over");
  return bundle ? bundle.querySelector(".bundle-link") : null;
}

function move(step) {
  const all = links();
  if (!all.length) return;
  const link = here();
  const at = link ? all.indexOf(link) : -1;
  const next = at < 0 ? (step > 0 ? 0 : all.length - 1) : Math.min(Math.max(at + step, 0), all.length - 1);
  all[next].focus();
  all[next].scrollIntoView({ block: "nearest" });
}

function into(form) {
  const own = document.getElementById(form);
  if (own) {
    /** @type {HTMLElement | null} */
    const first = own.querySelector("input:not([type=hidden]), select, textarea");
    first?.focus();
    return;
  }
  const link = here();
  if (link) window.location.assign(`${link.getAttribute("href")}#${form}`);
}

function openHere() {
  const opener = document.activeElement?.closest(".bundle")?.querySelector(".opener") || openPanel();
  if (opener instanceof HTMLElement) opener.click();
}

/** @param {string} selector */
function follow(selector) {
  /** @type {HTMLElement | null} */
  const link = document.querySelector(selector);
  link?.click();
}

const DEEDS = {
  j: () => move(1),
  k: () => move(-1),
  o: () => openHere(),
  c: () => into("log-call"),
  d: () => into("act"),
  h: () => follow(".page-head a[href*='handover']"),
  t: () => follow("#to-triage"),
};

document.addEventListener("keydown", (event) => {
  if (off || !keys || event.ctrlKey || event.metaKey || event.altKey || event.isComposing) return;
  if (event.target instanceof Element && event.target.closest("input, select, textarea, [contenteditable]")) return;
  const deed = DEEDS[event.key];
  if (!deed) return;
  event.preventDefault();
  deed();
});

if (["#log-call", "#act"].includes(window.location.hash)) into(window.location.hash.slice(1));
