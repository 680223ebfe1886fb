/*
 * The kit: everything personal that a night needs, asked for when there is a network and kept for when there is none.
 */

import { asOfNow } from "./place.js";
import * as vault from "./vault.js";
import { call, deviceOf } from "./wire.js";

const OLD_AFTER = 7 * 24;
/** @type {Kit | null} */
let kit = null;

/** The kit in use, or null before the first contact. */
export const current = () => kit;
/** Hours since the kit came from the unit, by the phone's clock. */
export const ageHours = (now = Date.now()) => (kit ? (now - Date.parse(kit.kept_at)) / 3_600_000 : null);
/** Whether the kit is too old to rely on: over a week. */
export const isOld = (now) => (ageHours(now) ?? 0) > OLD_AFTER;

/** What stands on the lock screen and works before the first unlocking: the unit's words, nothing of the patient. */
const openPart = ({ unit, cards, on_each_card, first_aid, first_aid_unchecked, event_kinds, language }) => ({
  unit,
  cards,
  on_each_card,
  first_aid,
  first_aid_unchecked,
  event_kinds,
  language,
});
export const emergencyPart = async () => (await vault.getOpen("emergency")) ?? vault.plain("emergency");

/**
 * Take the kept kit of the patient that was in use, out of the open vault; where it keeps nothing, the one in memory.
 */
export async function load() {
  const wanted = vault.plain("patient");
  const kept = await vault.all("kit");
  kit = kept.find((each) => each.id === wanted) ?? kept[0] ?? kit;
  return kit;
}

export function forget() {
  kit = null;
}

/** Keep a kit that came from the unit -> the kit, now in use. */
export async function take(data) {
  /** @type {Kit} */
  const taken = { ...data, id: data.patient.id, kept_at: new Date().toISOString() };
  kit = taken;
  vault.setPlain("patient", taken.id);
  await vault.put("kit", taken);
  await vault.putOpen("emergency", openPart(asOfNow(taken, new Date())));
  vault.setPlain("emergency", openPart(asOfNow(taken, new Date())));
  return taken;
}

/**
 * Ask the unit for the kit of a patient (else the one in use) -> the answer of `call`, with two more kinds: "choose"
 * when the person has to say for which patient, "other" when it is not the person whose vault this is. Keeps nothing.
 */
export async function ask(patient = vault.plain("patient")) {
  const account = vault.plain("account");
  const whose = patient ? `?patient=${encodeURIComponent(patient)}` : "";
  const answer = await call(`/api/v1/bedside/${whose}`, { account });
  if (answer.kind === "signedOut") return (await takenBack(account)) ?? answer;
  if (answer.status === 400 && answer.data.patients) return oneOf(answer, patient);
  if (answer.kind !== "ok") return answer;
  return String(answer.data.account.id) === String(account) ? answer : { ...answer, kind: "other" };
}

/** Whose night: where there is only one, that one; the patient in use may have been another person's. */
function oneOf(answer, asked) {
  const { patients } = answer.data;
  return patients.length === 1 && patients[0].id !== asked ? ask(patients[0].id) : { ...answer, kind: "choose" };
}

/** A phone that was taken back has no session left: its own id alone still tells. */
async function takenBack(account) {
  const answer = await call(`/api/v1/devices/bedside/${deviceOf(account ?? "new")}/`, { account });
  return answer.kind === "gone" ? answer : null;
}
