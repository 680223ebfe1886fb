/* Buttons that call the unit or the emergency number. The numbers are the unit's own. */

import { h } from "./ui.js";
import { plain } from "./vault.js";
import { t } from "./words.js";

const address = (number) => `tel:${number.replace(/[^+\d]/g, "")}`;
const call = (number, words, tone) =>
  number
    ? h("a", { class: `big ${tone}`, href: address(number) }, h("span", { text: words }), h("small", { text: number }))
    : null;

/** The numbers while no kit is in hand: those kept here last, else those that came with the page itself. */
export const unitOfPage = () => {
  const { emergency, onCall } = document.documentElement.dataset;
  return plain("emergency")?.unit ?? { emergency_number: emergency, on_call_number: onCall };
};

/** The same as an action for the thumb, or null where the unit has no such number. */
export function callAction(unit, which) {
  const number = which === "emergency" ? unit?.emergency_number : unit?.on_call_number;
  const label = which === "emergency" ? t("Emergency call") : t("Call the unit");
  return number ? { label, href: address(number), hint: number, tone: "danger" } : null;
}

/**
 * unit as in the kit; `first` "emergency" or "on_call" stands first and is the coloured one; "calm" colours none. []
 * without numbers.
 */
export function callButtons(unit, first = "emergency") {
  const urgent = first === "emergency";
  const emergency = call(unit?.emergency_number, t("Emergency call"), urgent ? "danger" : "plain");
  const unitCall = call(unit?.on_call_number, t("Call the unit"), first === "on_call" ? "danger" : "plain");
  const calls = (urgent ? [emergency, unitCall] : [unitCall, emergency]).filter(Boolean);
  return calls.length ? [h("div", { class: "calls" }, calls)] : [];
}
