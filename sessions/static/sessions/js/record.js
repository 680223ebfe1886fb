/*
 * The record page: one draft, kept on this phone at every touch, brought to the unit quietly while there is a
 * network, and handed over at the end. Nothing here waits for the network.
 */

import { clockTime, dayAndTime } from "./clock.js";
import { draftFrom, hasUnsent, newDraft } from "./draft.js";
import { bindAll } from "./facts.js";
import { bindSigns, make, showFault } from "./field.js";
import { bindLists } from "./lists.js";
import { fluidPlan } from "./plan.js";
import { shown, withUnit } from "./numbers.js";
import { readPage } from "./page_data.js";
import { bindSections } from "./sections.js";
import { GIVES_BACK, sendDraft, sendWaiting, settle } from "./send.js";
import { askToStay, draftsOf, find, keep } from "./store.js";
import { elementOf, openQuestions, placedFaults, showSummary } from "./summary.js";

const QUIET_FOR = 15_000;
const RETRY_EVERY = 30_000;

const page = readPage();
const byId = (id) => document.getElementById(id);
let draft;
let lists;
let quietTimer;
let handedOver = false;

function showOnly(name) {
  for (const view of document.querySelectorAll("[data-view]")) view.hidden = view.dataset.view !== name;
}

function say(state, words) {
  byId("state").dataset.state = state;
  if (byId("state-words").textContent !== words) byId("state-words").textContent = words;
}

function tellState() {
  const kept = clockTime(draft.touchedAt, page.zone);
  if (!hasUnsent(draft, page)) say("unit", `At the unit, ${clockTime(draft.sentAt, page.zone)}`);
  else if (!draft.facts.started_at) say("phone", `Kept on this phone, ${kept}. It goes to the unit once the start is noted.`);
  else say("phone", `Kept on this phone, ${kept}`);
}

/* Keeping ------------------------------------------------------------------------------------------ */

async function keepDraft() {
  try {
    await keep(draft);
    tellState();
  } catch (problem) {
    say("lost", "Not kept: this phone's storage refused. Write on the unit's paper sheet too.");
    console.error("Keeping the draft failed", problem);
  }
}

async function changed() {
  const first = draft.sent === null && !new URLSearchParams(location.search).has("id");
  draft.touchedAt = new Date().toISOString();
  if (first) history.replaceState(null, "", `?id=${draft.id}${location.hash}`);
  showPlan();
  if (!byId("open-questions").closest("[data-section]").hidden) showSummary(draft);
  clearTimeout(quietTimer);
  quietTimer = setTimeout(bringQuietly, QUIET_FOR);
  await keepDraft();
}

/** Bring an open record to the unit without a word; where that fails it simply stays on the phone. */
async function bringQuietly() {
  clearTimeout(quietTimer);
  const may = draft.facts.started_at && !draft.correcting && draft.stage === "writing" && !draft.conflict;
  if (!may || handedOver || !hasUnsent(draft, page) || !navigator.onLine) return;
  await navigator.locks.request("homedialysis-sending", async () => {
    const ending = await sendDraft(page, draft, "open");
    if (GIVES_BACK.has(ending.kind)) draft.stage = "writing";
    await keepDraft();
    if (ending.kind === "signedOut") tellSignedOut();
    if (GIVES_BACK.has(ending.kind)) showFaults();
    tellConflict();
  });
}

/* What stands on the page --------------------------------------------------------------------------- */

function showPlan() {
  const { rinseBack, drinks } = draft.plan;
  const numbers = { rinseBack: rinseBack ?? 0, drinks: drinks ?? 0 };
  const plan = fluidPlan({ pre: draft.facts.pre_weight_kg, ...numbers, prescription: page.prescription });
  byId("plan-numbers").hidden = Boolean(plan.why);
  byId("plan-why").hidden = !plan.why;
  byId("plan-over").hidden = !plan.over;
  if (plan.why) {
    byId("plan-why").textContent = plan.why;
    return;
  }
  byId("plan-litres").textContent = shown(plan.litres, 2);
  byId("plan-rate").textContent = shown(plan.rate, 1);
  const counted = `${withUnit(numbers.rinseBack, "L")} rinse-back and ${withUnit(numbers.drinks, "L")} of drinks counted in`;
  byId("plan-counted").textContent = `Over ${page.prescription.minutes} minutes, with ${counted}.`;
}

function showFaults() {
  for (const { place, message } of placedFaults(draft)) {
    const element = elementOf(place);
    if (element?.matches("input, select, textarea")) showFault(element, message);
  }
  for (const list of Object.values(lists)) list.render();
  showSummary(draft);
}

/** A changed field takes its fault away; what is still wrong, the server says again. */
function forgetFaultOf(element) {
  const left = placedFaults(draft).filter(({ place }) => elementOf(place) !== element);
  draft.faults = left.map(({ field, message }) => ({ field, message }));
}

function tellSignedOut() {
  byId("signed-out").hidden = false;
  byId("sign-in").href = `${page.urls.signIn}?next=${encodeURIComponent(`${page.urls.record}?id=${draft.id}`)}`;
  say("phone", "Kept on this phone. Sign in again to bring it to the unit.");
}

function tellConflict() {
  if (!draft.conflict) return;
  byId("conflict-when").textContent = dayAndTime(draft.conflict.received_at, page.zone);
  showOnly("conflict");
}

async function settleConflict(choice) {
  draft = settle(draft, page, choice);
  draft.stage = "writing";
  await keep(draft);
  lookAgain();
}

/** Read the page anew from what is kept, at the part where the record is handed over. */
function lookAgain() {
  history.replaceState(null, "", `?id=${draft.id}#handover`);
  location.reload();
}

/* Handing over --------------------------------------------------------------------------------------- */

async function handOver() {
  showSummary(draft);
  if (openQuestions(draft).length) {
    byId("open-questions").focus();
    return;
  }
  draft.stage = "waiting";
  await keepDraft();
  showOnly("waiting");
  await tryWaiting();
}

async function tryWaiting() {
  byId("waiting-words").textContent = "Sending …";
  for (const { draft: sent, ending } of await sendWaiting(page)) {
    if (sent.id === draft.id) await takeEnding(sent, ending);
  }
  if (draft.stage === "waiting" && !handedOver) {
    byId("waiting-words").textContent = "1 record waiting on this phone: the unit cannot be reached just now.";
  }
}

async function takeEnding(sent, ending) {
  draft = sent;
  if (ending.kind === "stored") {
    handedOver = true;
    byId("done-link").href = page.urls.night.replace(page.placeholder, draft.id);
    showOnly("done");
    byId("done-head").focus();
  } else if (ending.kind === "signedOut") {
    tellSignedOut();
  } else if (GIVES_BACK.has(ending.kind)) {
    lookAgain();
  }
}

function retryWhileWaiting() {
  const retry = () => draft.stage === "waiting" && !handedOver && tryWaiting();
  window.addEventListener("online", retry);
  setInterval(retry, RETRY_EVERY);
  byId("send-now").addEventListener("click", tryWaiting);
}

/* Which draft ---------------------------------------------------------------------------------------- */

const LAST_NIGHT = 24 * 60 * 60 * 1000;
const isRecent = (iso) => Date.now() - Date.parse(iso) < LAST_NIGHT;

async function choose() {
  const asked = new URLSearchParams(location.search);
  if (asked.has("id")) return resume(asked.get("id"));
  const kept = await draftsOf(page.owner);
  const open = page.open.filter((record) => !kept.some((each) => each.id === record.id));
  if (!kept.length && !open.length) return newDraft(page);
  const [only] = [...kept, ...open];
  if (asked.has("choose") || kept.length + open.length > 1 || !isRecent(only.touchedAt ?? only.started_at)) {
    return offer(kept, open);
  }
  location.replace(`?id=${only.id}`);
  return null;
}

async function resume(id) {
  const found = await find(id);
  const own = found?.account === page.account && found.patient === page.patient.id;
  const kept = own ? found : undefined;
  const theirs = page.record;
  if (kept && !(theirs && theirs.revision > kept.revision && !hasUnsent(kept, page))) return kept;
  if (theirs) return draftFrom(theirs, page);
  showOnly("missing");
  return null;
}

/** Offer to go on with what is open, or to begin -> null, unless a new record is begun at once. */
function offer(kept, open) {
  const entries = [
    ...kept.map((each) => [each.id, each.facts.started_at, each.stage === "waiting" ? "waits to be sent" : "on this phone"]),
    ...open.map((each) => [each.id, each.started_at, "at the unit, not handed over"]),
  ];
  const items = entries.map(([id, start, where]) => {
    const words = start ? `Night of ${dayAndTime(start, page.zone)}` : "Record without a start";
    return make("li", {}, make("a", { href: `?id=${id}`, className: "button plain bedside", textContent: `${words}: ${where}` }));
  });
  byId("open-records").replaceChildren(...items);
  showOnly("choose");
  byId("begin-new").addEventListener("click", () => begin(newDraft(page)), { once: true });
  return null;
}

async function begin(chosen) {
  draft = chosen;
  const context = {
    page, changed,
    get draft() { return draft; },
    faults: () => placedFaults(draft),
    forgetFaults: (key) => { draft.faults = placedFaults(draft).filter(({ place }) => place.key !== key); },
  };
  byId("correcting").hidden = !draft.correcting;
  bindAll(context);
  bindSigns();
  lists = bindLists(context);
  byId("record").addEventListener("change", ({ target }) => forgetFaultOf(target), { capture: true });
  byId("hand-over").addEventListener("click", handOver);
  byId("keep-mine").addEventListener("click", () => settleConflict("mine"));
  byId("take-theirs").addEventListener("click", () => settleConflict("theirs"));
  document.addEventListener("visibilitychange", () => document.hidden && bringQuietly());
  showOnly(draft.stage === "waiting" ? "waiting" : "record");
  bindSections(draft.section, (name) => {
    draft.section = name;
    if (name === "handover") showSummary(draft);
  });
  showPlan();
  tellState();
  if (draft.faults.length) showFaults();
  tellConflict();
  retryWhileWaiting();
  if (draft.stage === "waiting") await tryWaiting();
}

async function start() {
  if (!window.isSecureContext || !("indexedDB" in window)) return showOnly("unfit");
  await askToStay();
  const chosen = await choose();
  if (chosen) await begin(chosen);
}

start().catch((problem) => {
  console.error("The record page could not start", problem);
  showOnly("unfit");
});
