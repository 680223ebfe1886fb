/* Fixed answers with their words: the values are those of the treatment document. */

import { kept } from "./kept.js";
import { t } from "./words.js";

const pairs = (words) => Object.entries(words).map(([value, label]) => ({ value, label }));

export const dialyserLooks = () =>
  pairs({ clear: t("Clear"), few_fibres: t("A few red fibres"), half: t("About half red"), clotted: t("Clotted") });
/** Kinds of needles as the record's steps name them. */
export const NEEDLES = { sharp: kept("Sharp"), blunt: kept("Blunt"), plastic: kept("Plastic") };
export const needleKinds = () => Object.entries(NEEDLES).map(([value, words]) => ({ value, label: t(words) }));
export const planChoices = () =>
  pairs({ as_prescribed: t("As prescribed"), longer: t("Longer tonight"), leave_some: t("Leave some for next time") });
export const uses = () => pairs({ arterial: t("Arterial (blood out)"), venous: t("Venous (blood back)") });
export const YES = kept("Yes");
export const NO = kept("No");
export const yesNo = () => [
  { value: true, label: t(YES) },
  { value: false, label: t(NO) },
];
export const hands = () => pairs({ right: t("Right thumb"), left: t("Left thumb") });
export const themes = () =>
  pairs({ auto: t("As the phone"), light: t("Light"), dark: t("Dark"), night: t("Night: dim and warm") });
export const textSizes = () => pairs({ 1: t("Normal"), 2: t("Large"), 3: t("Very large") });
export const idleMinutes = () =>
  [2, 5, 10, 30, 0].map((n) => ({ value: n, label: n ? t("{n} minutes", { n }) : t("Never") }));
/** The words of a site's use. */
export const useWords = (use) => uses().find((each) => each.value === use)?.label ?? use;
