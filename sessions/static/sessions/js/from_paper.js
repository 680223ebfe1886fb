/*
 * Staff type a treatment from paper for a patient: the bedside's own screens for it, on a page of the unit. What is
 * typed stays in this window alone until the unit's server has taken it.
 */

import { documentOf, nameRows, newNight, pathInNight } from "../../bedside/js/draft.js";
import { action, focusKey, isTyping, refocus } from "../../bedside/js/frame_parts.js";
import { draw, go, here, screenOf, startRouter } from "../../bedside/js/router.js";
import { beginOnPaper } from "../../bedside/js/screens/paper.js";
import { byId, clearToast, h, note } from "../../bedside/js/ui.js";
import { call } from "../../bedside/js/wire.js";
import { setByDay, setUnit, setZone, speak } from "../../bedside/js/words.js";

import "../../bedside/js/screens/summary.js";

const given = (id) => JSON.parse(byId(id).textContent ?? "");
/** @type {Kit} */
const kit = given("kit");
const words = given("words");
const { address = "", night: nightPage = "", nothing = "" } = document.documentElement.dataset;
let said = "";
let isTypedIn = false;
let isKept = false;
let isSending = false;

/** What of the phone's `ctx` the two screens need. @type {any} */
const ctx = {
  kit,
  night: null,
  nights: [],
  now: () => new Date(),
  online: () => true,
  busy: () => false,
  redraw: () => draw(false),
  save: async () => nameRows(ctx.night),
  begin: () => {
    ctx.night = newNight(kit);
  },
  go: (name, ...params) => screenOf(name) && go(name, ...params),
  handOver,
};

const addressOf = (template, id) => template.replace(nothing, id);

async function handOver() {
  const { night } = ctx;
  if (isSending) return;
  isSending = true;
  const body = JSON.stringify(documentOf(night, "finished"));
  const answer = await call(addressOf(address, night.id), { method: "PUT", body, account: kit.account.id });
  isSending = false;
  night.faults = (answer.kind === "refused" ? (answer.data.errors ?? []) : []).map(({ field, message }) => ({
    field: pathInNight(night, field ?? ""),
    message,
  }));
  said = answer.kind === "ok" ? "" : (words[answer.kind] ?? words.failed);
  isKept = answer.kind === "ok";
  if (isKept) location.assign(addressOf(nightPage, night.id));
  else draw(true);
}

function frame({ name }, screen, fresh) {
  if (!ctx.night || (!fresh && isTyping())) return;
  const { title, draw: body, bar } = name === "summary" ? screen : screenOf("paper");
  const key = fresh ? null : focusKey();
  const heading = h("h1", { tabindex: "-1", text: title(ctx, []) });
  const told = said ? [note(said, "stop")] : [];
  byId("screen").replaceChildren(heading, ...told, ...[body(ctx, [])].flat(9).filter(Boolean));
  const actions = bar(ctx, []).map((each, index) => action(ctx, each, index));
  byId("dock").replaceChildren(...actions);
  if (!fresh) return refocus(key);
  clearToast();
  window.scrollTo(0, 0);
  heading.focus({ preventScroll: true });
}

async function start() {
  setUnit(kit.unit);
  await speak(kit.language);
  setZone(kit.patient.zone);
  setByDay(kit.by_day);
  if (here().name !== "paper") history.replaceState(null, "", "#/paper");
  startRouter(frame);
  beginOnPaper(ctx);
  draw(true);
}

window.addEventListener("beforeunload", (event) => {
  if (isTypedIn && !isKept) event.preventDefault();
});
byId("screen").addEventListener("input", () => {
  isTypedIn = true;
});
start();
