/* Fixed answers with their words: the values are those of the treatment document. */

import { t } from "./words.js";

const pairs = (words) => Object.entries(words).map(([value, label]) => ({ value, label }));

export const dialyserLooks = () =>
  pairs({ clear: t("Clear"), few_fibres: t("A few red fibres"), half: t("About half red"), clotted: t("Clotted") });
export const bloodReturns = () =>
  pairs({ whole: t("Given back"), part: t("Given back in part"), none: t("Not given back") });
export const earlyReasons = () =>
  pairs({
    unwell: t("I feel unwell"),
    pressure: t("Low blood pressure"),
    clotted: t("Clotted"),
    needle: t("A needle or the access"),
    machine: t("Machine, power or water"),
    time: t("No more time"),
    unit: t("The unit said so"),
    other: t("Another reason, in the notes"),
  });
export const needleKinds = () => pairs({ sharp: t("Sharp"), blunt: t("Blunt"), plastic: t("Plastic") });
export const planChoices = () =>
  pairs({ as_prescribed: t("As prescribed"), longer: t("Longer tonight"), leave_some: t("Leave some for next time") });
export const uses = () => pairs({ arterial: t("Arterial (blood out)"), venous: t("Venous (blood back)") });
export const yesNo = () => [
  { value: true, label: t("Yes") },
  { value: false, label: t("No") },
];
export const hands = () => pairs({ right: t("Right thumb"), left: t("Left thumb") });
export const themes = () =>
  pairs({ auto: t("As the phone"), light: t("Light"), dark: t("Dark"), night: t("Night: dim and warm") });
export const textSizes = () => pairs({ 1: t("Normal"), 2: t("Large"), 3: t("Very large") });
export const idleMinutes = () =>
  [2, 5, 10, 30, 0].map((n) => ({ value: n, label: n ? t("{n} minutes", { n }) : t("Never") }));
/** What a kind of event is called. @param {Kit | null} kit @param {string} kind */
export const eventWords = (kit, kind) => t(kit?.event_kinds?.[kind] ?? kind);
/** The kinds of event that can happen to this access: a catheter has no needle. @param {Kit} kit @returns {string[]} */
export const kindsHere = (kit) => kit.event_kinds_here ?? Object.keys(kit.event_kinds ?? {});
/** The words of a site's use. */
export const useWords = (use) => uses().find((each) => each.value === use)?.label ?? use;
