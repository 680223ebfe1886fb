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

// The present moment as the unit writes days and times, on its clock.
const { order, clock, zone: timeZone } = document.body.dataset;
const { lang } = document.documentElement;
const clockNow = () =>
  new Intl.DateTimeFormat(lang, {
    hour: "2-digit",
    minute: "2-digit",
    hourCycle: clock === "12" ? "h12" : "h23",
    timeZone,
  }).format(new Date());

function dayNow() {
  const maker = new Intl.DateTimeFormat(lang, { day: "numeric", month: "short", year: "numeric", timeZone });
  const { day, month, year } = Object.fromEntries(
    maker.formatToParts(new Date()).map(({ type, value }) => [type, value]),
  );
  if (order === "mdy") return `${month} ${day}, ${year}`;
  const inFigures = () => new Intl.DateTimeFormat("en-CA", { timeZone }).format(new Date());
  return order === "ymd" ? inFigures() : `${day} ${month} ${year}`;
}

document.addEventListener("visibilitychange", () => {
  const list = document.querySelector("[data-live]");
  if (!document.hidden && list) window.htmx.trigger(list, "wake");
});

document.body.addEventListener("htmx:afterRequest", (event) => {
  const { successful, target, xhr } = detailOf(event);
  if (!isLive(target) || !trouble || !note) return;
  trouble.hidden = successful;
  if (!successful || xhr.status === 204) return;
  note.textContent = (note.dataset.changed || "{time}").replace("{time}", clockNow());
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

/** What somebody began to fill in below a line and has not saved, or null. @returns {HTMLElement | null} */
function begun() {
  const form = document.querySelector("#panel #acting");
  if (!(form instanceof HTMLFormElement)) return null;
  for (const field of form.elements) {
    const changed =
      (field instanceof HTMLTextAreaElement && field.value !== field.defaultValue) ||
      (field instanceof HTMLSelectElement &&
        [...field.options].some((one) => one.selected && !one.defaultSelected && one.value)) ||
      (field instanceof HTMLInputElement &&
        (["checkbox", "radio"].includes(field.type)
          ? field.checked !== field.defaultChecked
          : field.value !== field.defaultValue));
    if (changed && field instanceof HTMLElement) return field;
  }
  return null;
}

/** Whether what stands below the open line may go: what somebody typed goes only when it is asked for twice. */
function mayGo() {
  const field = begun();
  const warning = document.getElementById("panel-typed");
  if (!field || !warning?.hidden) return true;
  warning.hidden = false;
  field.focus();
  return false;
}

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
  if (!mayGo()) return;
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

/** @param {HTMLElement} opener */
function turn(opener) {
  if (opener.getAttribute("aria-expanded") !== "true") return unfold(opener);
  if (mayGo()) shut(opener);
}

document.body.addEventListener("click", (event) => {
  const opener = event.target instanceof Element ? event.target.closest(".opener") : null;
  if (!(opener instanceof HTMLElement)) return;
  turn(opener);
});

// On paper everything is open.
window.addEventListener("beforeprint", () => {
  /** @type {NodeListOf<HTMLElement>} */
  const stamps = document.querySelectorAll("[data-stamp]");
  for (const stamp of stamps) {
    stamp.dataset.stamp ||= stamp.textContent || "";
    stamp.textContent = stamp.dataset.stamp.replace("{time}", `${dayNow()}, ${clockNow()}`);
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
  document.documentElement.dataset.keys = off ? "off" : "on";
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
  const open = openPanel();
  if (open && !mayGo()) return;
  all[next].focus();
  all[next].scrollIntoView({ block: "nearest" });
  const opener = openerOf(all[next]);
  if (open && opener && opener !== open) unfold(opener);
}

/** @param {Element | null | undefined} inside @returns {HTMLElement | null} */
const openerOf = (inside) => inside?.closest(".bundle")?.querySelector(".opener") ?? null;

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
  const opener = openerOf(document.activeElement) || openPanel();
  if (opener instanceof HTMLElement) turn(opener);
}

/** Out of a field to its patient's line, where the keys work; from there the picture is shut. */
function back() {
  const open = openPanel();
  if (!(open instanceof HTMLElement)) {
    if (document.activeElement instanceof HTMLElement) document.activeElement.blur();
    return;
  }
  const link = open.closest(".bundle")?.querySelector(".bundle-link");
  if (link instanceof HTMLElement && document.activeElement !== link) link.focus();
  else turn(open);
}

/** The focus goes to what a selector finds first; nothing is pressed. @param {string} selector */
function reach(selector) {
  /** @type {HTMLElement | null} */
  const found = document.querySelector(selector);
  found?.focus();
}

/** Tick or untick the alert of a number. @param {number} number */
function tick(number) {
  const box = document.querySelectorAll(".act-row input[type=checkbox]")[number - 1];
  if (box instanceof HTMLInputElement) box.click();
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
  n: () => reach("#id_words"),
  x: () => reach(".act-row select"),
  a: () => reach("#id_until"),
  g: () => reach("#id_to"),
  s: () => reach("#act button[value=seen]"),
  u: () => reach(".undo button"),
  h: () => follow(".page-head a[href*='handover']"),
  t: () => follow("#to-triage"),
};

/** Words are saved from within their field: as a note, or as the call they are of. @param {KeyboardEvent} event */
function saved(event) {
  const field = event.target;
  if (event.key !== "Enter" || !(event.ctrlKey || event.metaKey) || !(field instanceof HTMLTextAreaElement))
    return false;
  /** @type {HTMLElement | null} */
  const button = document.querySelector(field.closest("#log-call") ? "#log-call button" : "#act button[value=note]");
  if (!field.closest("#acting") || !button) return false;
  button.click();
  return true;
}

document.addEventListener("keydown", (event) => {
  if (off || !keys || event.isComposing) return;
  if (saved(event)) event.preventDefault();
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.key === "Escape") back();
  if (event.target instanceof Element && event.target.closest("textarea, select, [contenteditable]")) return;
  if (event.target instanceof HTMLInputElement && !["checkbox", "radio"].includes(event.target.type)) return;
  const deed = /^[1-9]$/.test(event.key) ? () => tick(Number(event.key)) : DEEDS[event.key];
  if (!deed) return;
  event.preventDefault();
  deed();
});

if (["#log-call", "#act"].includes(window.location.hash)) into(window.location.hash.slice(1));

// Whoever acted below a line comes back to that line, open as it was left.
if (window.location.hash.startsWith("#act-")) {
  const link = document.getElementById(window.location.hash.slice(1));
  const opener = openerOf(link);
  if (opener) unfold(opener);
  link?.focus();
}
