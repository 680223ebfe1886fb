/* On "Tonight" and "Nights": records that wait on this phone, tried again by themselves and by a touch. */

import { dayAndTime } from "./clock.js";
import { make } from "./field.js";
import { readPage } from "./page_data.js";
import { sendWaiting } from "./send.js";
import { draftsOf } from "./store.js";

const RETRY_EVERY = 30_000;
const page = readPage();
const byId = (id) => document.getElementById(id);

function nightOf(draft) {
  return draft.facts.started_at ? `the night of ${dayAndTime(draft.facts.started_at, page.zone)}` : "a record without a start";
}

function open(draft, words) {
  const address = `${page.urls.record}?id=${draft.id}`;
  return make("li", {}, make("a", { href: address, className: "button plain bedside", textContent: `${words} ${nightOf(draft)}` }));
}

async function show() {
  const drafts = await draftsOf(page.owner);
  const waiting = drafts.filter((draft) => draft.stage === "waiting");
  const writing = drafts.filter((draft) => draft.stage !== "waiting");
  byId("waiting").hidden = waiting.length === 0;
  byId("waiting-count").textContent = `${waiting.length} ${waiting.length === 1 ? "record" : "records"} waiting on this phone.`;
  byId("waiting-list").replaceChildren(...waiting.map((draft) => make("li", { textContent: nightOf(draft) })));
  byId("drafts").hidden = writing.length === 0;
  byId("drafts-list").replaceChildren(...writing.map((draft) => open(draft, draft.faults.length ? "Look again at" : "Go on with")));
  const begin = byId("begin");
  if (begin) begin.classList.toggle("plain", writing.length > 0);
  return waiting.length;
}

function sayEnding(results) {
  const signedOut = results.some(({ ending }) => ending.kind === "signedOut");
  const sent = results.filter(({ ending }) => ending.kind === "stored").length;
  byId("waiting-signed-out").hidden = !signedOut;
  if (sent) byId("waiting-said").textContent = `${sent} handed over to the unit.`;
}

async function tryAll() {
  if (!(await show())) return;
  sayEnding(await sendWaiting(page));
  await show();
}

window.addEventListener("online", tryAll);
setInterval(tryAll, RETRY_EVERY);
byId("send-waiting").addEventListener("click", tryAll);
tryAll().catch((problem) => console.error("Looking for waiting records failed", problem));
