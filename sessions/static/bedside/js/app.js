/*
 * What is in hand, and the `ctx` that every screen gets:
 *   kit, night (the one in hand, or null), nights (all of this person for this patient that the phone holds),
 *   settings, now(), online(), change(label, fn), save(), undo(), redo(), go(name, ...params), back(),
 *   begin(practice) -> a new night, forget(night), remember(night), open(id) -> goes on with one of the phone or of
 *   kit.open,
 *   handOver(), errand({…}),
 *   jot({kind, note, at}) -> an event for the record, also while locked or before a night is begun, jotted() -> those
 *   that wait for one, unjot(event),
 *   busy() -> whether a treatment is under way, refresh() -> asks the unit for a new kit.
 * While locked or before the first contact `kit` holds the unit's emergency part alone, or is null, and night is null.
 */

import * as copies from "./copies.js";
import * as draft from "./draft.js";
import { begins, ends, keptOf } from "./kept.js";
import * as kits from "./kit.js";
import { deviceGone } from "./leaving.js";
import * as outbox from "./outbox.js";
import { asOfNow } from "./place.js";
import { back, draw, go, here, replace } from "./router.js";
import { apply, languageOf, settings } from "./settings.js";
import { toast } from "./ui.js";
import * as vault from "./vault.js";
import { adoptDevice } from "./wire.js";
import { setByDay, setUnit, setZone, speak, t } from "./words.js";

const QUIET_FOR = 8_000;
const JOTTED = "jotted";
/** @type {number | undefined} */
let quiet;

/** gate: "open", or what stands before the screens: starting, first, locked, choose, taken, gone. */
export const ctx = {
  kit: null,
  night: null,
  nights: [],
  patients: [],
  settings,
  update: null,
  gate: "starting",
  now: () => new Date(),
  online: () => navigator.onLine,
  go,
  back,
  change,
  undo,
  redo,
  begin,
  open,
  forget,
  remember,
  jot,
  jotted: () => jotted(),
  unjot,
  refresh,
  enter,
  choose,
  askWhose,
  redraw,
  startAgain,
  push: outbox.push,
  errand: outbox.errand,
  save: (night = ctx.night) => keep(night),
  handOver: async (night = ctx.night) => (night.practice ? forget(night) : outbox.handOver(night)),
  stepAside,
  offer,
  empty,
  busy: () => Boolean(draft.isLive(ctx.night) && ctx.night.doc.started_at),
  lock,
};

function redraw() {
  draw(false);
}

/* Keeping ------------------------------------------------------------------------------------------- */

let writing = Promise.resolve();
/** @param {Night} night */
const isKept = (night) => vault.state().ok && keptOf(night).state !== "failed";

/**
 * Keep a night on the phone, one after the other; where the storage refuses it stays in memory and the head says so.
 * @param {Night} night
 */
function keep(night) {
  draft.nameRows(night);
  const copy = structuredClone(night);
  begins(night.id);
  writing = writing.then(async () => {
    const before = isKept(night);
    ends(night.id, await vault.put("nights", copy));
    vault.setPlain("unsent", outbox.list().length);
    if (isKept(night) !== before) redraw();
  });
  return writing;
}

/**
 * Change the night in hand: fn(night) writes into it; one step that can be undone, kept at once, drawn anew. final: it
 * stays in the record, and no step before it is undone past it.
 */
function change(label, fn, final = false) {
  const { night } = ctx;
  if (!night) return;
  draft.nameRows(night);
  const before = draft.snapshot(night);
  fn(night);
  draft.nameRows(night);
  if (!draft.noteStep(night, before, label)) return redraw();
  if (final) night.past = [];
  after(night);
  toast(label, final ? null : undo);
}

/** @param {Night} night */
function after(night) {
  draft.judgeAnew(night);
  night.touched_at = new Date().toISOString();
  keep(night);
  redraw();
  clearTimeout(quiet);
  quiet = setTimeout(() => navigator.onLine && outbox.push(), QUIET_FOR);
}

function undo() {
  const label = ctx.night && draft.undoStep(ctx.night);
  if (!label) return;
  after(ctx.night);
  toast(t("Undone: {what}", { what: label }), null);
}

function redo() {
  const label = ctx.night && draft.redoStep(ctx.night);
  if (!label) return;
  after(ctx.night);
  toast(label, undo);
}

/* Nights -------------------------------------------------------------------------------------------- */

/** @param {Night} night */
const isOwn = (night) => night.account === ctx.kit?.account.id && night.patient === ctx.kit.patient.id;

async function loadNights() {
  const kept = (await vault.all("nights")).filter(isOwn).sort((a, b) => b.touched_at.localeCompare(a.touched_at));
  kept.forEach(draft.bringUp);
  const over = kept.filter(copies.isOver);
  for (const night of over) await copies.layAside(night);
  const begun = ctx.nights.filter(isOwn); // while the phone's own were being read: not lost again by them
  ctx.nights = [...begun, ...kept.filter((night) => !over.includes(night) && !begun.some(({ id }) => id === night.id))];
  ctx.night =
    ctx.nights.find((night) => night.id === vault.plain("night")) ??
    ctx.nights.find((night) => night.stage !== "handed") ??
    null;
  if (ctx.night?.delivered) ctx.night = ctx.nights.find((night) => night.stage !== "handed") ?? ctx.night;
}

/** @param {Night} night */
function take(night) {
  ctx.night = night;
  if (!ctx.nights.includes(night)) ctx.nights.unshift(night);
  vault.setPlain("night", night.id);
  mergeJotted();
  keep(night);
  return night;
}

/** Begin a new night with the kit in hand, or one for practice. */
function begin(practice = false) {
  return take(draft.newNight(ctx.kit, undefined, practice));
}

/** Go on with a night of this phone, or with one that is open at the unit -> it, or null when neither has it. */
function open(id, document = ctx.kit.open?.find((each) => each.id === id)) {
  const known = ctx.nights.find((night) => night.id === id);
  if (known && !(document && document.revision > known.revision && !draft.hasUnsent(known))) return take(known);
  if (!document) return null;
  ctx.nights = ctx.nights.filter((night) => night.id !== id);
  return take(draft.draftFrom(document, ctx.kit));
}

/** A night that the unit never had goes from this phone. @param {Night} night */
async function forget(night) {
  ctx.nights = ctx.nights.filter((each) => each !== night);
  if (ctx.night === night) ctx.night = null;
  await writing;
  await vault.remove("nights", night.id);
}

/** It is in hand again, after it was let go or handed on. @param {Night} night */
async function remember(night) {
  take(night);
  await writing;
  redraw();
}

/** An event noted in a hurry: into the night in hand, else kept until there is one (also while locked). */
function jot({ kind, note = "", at = new Date().toISOString() }) {
  if (draft.isLive(ctx.night)) return change(t("Noted"), (night) => draft.addEvent(night, { kind, note, at }));
  const event = { kind, note, at };
  vault.setPlain(JOTTED, [...jotted(), event]);
  toast(t("Noted"), () => unjot(event));
}

/** What was noted so and waits for a record. */
const jotted = () => vault.plain(JOTTED) ?? [];

/** Take one of them back. */
function unjot({ kind, at }) {
  const left = jotted().filter((event) => event.kind !== kind || event.at !== at);
  vault.setPlain(JOTTED, left.length ? left : null);
  redraw();
}

function mergeJotted() {
  const waiting = jotted();
  if (!waiting.length || !draft.isLive(ctx.night) || ctx.night.practice) return; // what really happened stays so
  for (const event of waiting) draft.addEvent(ctx.night, event);
  vault.setPlain(JOTTED, null);
}

/* The kit ------------------------------------------------------------------------------------------- */

/** Ask the unit for the kit -> the kind of answer. Somebody else being signed in changes whose vault is open. */
async function refresh(patient) {
  const answer = await kits.ask(patient);
  const { kind, data } = answer;
  if (kind === "gone") return deviceGone(ctx, data);
  if (kind === "signedOut" || kind === "ok") outbox.pulse.signedOut = kind === "signedOut";
  if (kind === "other") await changePerson(data);
  else if (kind === "choose") Object.assign(ctx, { patients: data.patients ?? [], gate: "choose" });
  else if (kind === "ok" && ctx.gate === "open") {
    await useKit(await kits.take(data));
    await sendAgain();
  }
  ctx.trouble = kind === "ok" ? null : kind;
  redraw();
  return kind;
}

/** What the unit lost with a backup that it brought back goes to it once more. */
async function sendAgain() {
  const lost = await copies.lostByUnit(ctx.kit, ctx.nights, isOwn);
  if (!lost.length) return;
  ctx.nights = [...ctx.nights, ...lost.filter((night) => !ctx.nights.includes(night))];
  for (const night of lost) await keep(night);
  for (const night of lost) await copies.takeUp(night);
  toast(t("The unit had to bring back older records. What it lacks is sent again from this phone."), null);
  outbox.push();
}

/** Somebody else is signed in: their own vault is opened; the first one's stays closed and untouched. */
async function changePerson(data) {
  const account = String(data.account.id);
  adoptDevice(account);
  vault.setPlain("account", account);
  vault.setPlain("patient", data.patient.id);
  Object.assign(ctx, { kit: null, night: null, nights: [] });
  kits.forget();
  await pass(await vault.open(account), data);
}

/** What opening a vault came to; `data` is a kit that is to be kept in it. */
async function pass(door, data) {
  ctx.gate = door === "locked" || door === "taken" ? door : "open";
  if (ctx.gate !== "open") return redraw();
  if (data) await kits.take(data);
  await enter(!data);
}

/** @param {Kit | null} kit */
async function useKit(kit) {
  const moved = ctx.kit?.patient?.id !== kit?.patient.id;
  ctx.kit = kit && asOfNow(kit, ctx.now());
  if (!ctx.kit || !kit) return;
  setZone(ctx.kit.patient.zone);
  setByDay(kit.by_day);
  setUnit(kit.unit);
  if (moved || ctx.gate !== "open") await speak(languageOf(kit));
  apply(kit);
  if (moved) await loadNights();
}

async function choose(patient) {
  ctx.gate = "open";
  vault.setPlain("patient", patient);
  ctx.kit = null;
  const kept = await vault.get("kit", patient);
  if (kept) await useKit(await kits.load());
  await refresh(patient);
  replace("tonight");
}

/** Whose night it is, asked again: those that the unit names, without a network those whose kit is kept. */
async function askWhose() {
  const kept = (await vault.all("kit")).map(({ patient }) => patient);
  const answer = await kits.ask("");
  Object.assign(ctx, { patients: answer.data.patients ?? kept, gate: "choose" });
  draw(true);
}

/* Told from outside ---------------------------------------------------------------------------------- */

/** Another window has the vault now. */
function stepAside() {
  ctx.gate = "taken";
  redraw();
}

/** A new release waits, or (null) none. @param {ServiceWorker | null} worker */
function offer(worker) {
  ctx.update = worker;
}

/** The unit took this phone back: nothing is in hand any more. */
function empty(gone) {
  Object.assign(ctx, { kit: null, night: null, nights: [], gate: "gone", gone });
}

/* Going in and locking ------------------------------------------------------------------------------- */

/** The vault is open: take what is in it, go on where the person was, then ask the unit. */
async function enter(ask = true) {
  ctx.gate = "open";
  await useKit(await kits.load());
  await outbox.load();
  await tellDamaged();
  mergeJotted();
  resumeScreen();
  if (ask) await refresh();
  outbox.push();
}

/** What lies here and cannot be read: the unit hears of each once. */
async function tellDamaged() {
  const told = vault.plain("damaged") ?? [];
  const found = vault.damaged().filter(({ id }) => !told.includes(id));
  if (!found.length || !ctx.kit) return;
  for (const row of found) await outbox.tellDamaged(row);
  vault.setPlain("damaged", [...told, ...found.map(({ id }) => id)]);
}

function resumeScreen() {
  const asked = here();
  const { night } = ctx;
  if (
    night?.screen &&
    night.stage !== "handed" &&
    asked.name === "tonight" &&
    !asked.params.length &&
    location.hash.length < 3
  ) {
    history.replaceState(null, "", night.screen);
  }
  draw(true);
}

/** Start with the vault of the person who was here last; whoever never was waits for the unit. */
export async function startIn(account) {
  if (!account) {
    ctx.gate = "first";
    redraw();
    return refresh(null);
  }
  const door = await vault.open(account);
  if (door === "locked") await showLocked();
  await pass(door);
  if (door === "locked") await refresh();
}

/** After this window took the vault from another one. */
async function startAgain() {
  const door = vault.state().locked ? "locked" : "open";
  if (door === "locked") await showLocked();
  await pass(door);
}

async function showLocked() {
  kits.forget();
  Object.assign(ctx, { kit: await kits.emergencyPart(), night: null, nights: [], gate: "locked" });
}

/** Lock, where there is a PIN that opens again and a storage that holds what is in hand. */
async function lock() {
  if (!vault.state().ok || !(await vault.hasPin())) return;
  await writing;
  await vault.lock();
  await showLocked();
  draw(true);
}
