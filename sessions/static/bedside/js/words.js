/* Words, numbers and times as the person reads them. The English text is the key of its translation. */

import { BY_DAY } from "./by_day.js";
import { shown } from "./rounding.js";

let catalogue = {};
let language = "en";
let zone = "UTC";
const RTL = /^(ar|fa|he|ur)\b/;

const fill = (text, params) => (params ? text.replace(/\{(\w+)\}/g, (whole, name) => params[name] ?? whole) : text);

let byDay = true; // until the unit has said: a treatment is right at any hour
/** Whether the person dialyses by day: then no night is spoken of. */
export const setByDay = (whether) => {
  byDay = Boolean(whether);
};

/** t("Kept at {time}", {time}) -> the sentence in the person's language. */
export function t(english, params) {
  const said = (byDay && BY_DAY.get(english)) || english;
  const found = catalogue[said];
  return fill((Array.isArray(found) ? found[0] : found) || said, params);
}

/** Words as they begin a sentence. @param {string} words */
export const capital = (words) => `${words.slice(0, 1).toUpperCase()}${words.slice(1)}`;

/** tn("{n} reading", "{n} readings", n) -> the form that the number wants. */
export function tn(one, many, n, params) {
  const forms = Array.isArray(catalogue[one]) ? catalogue[one] : null;
  const all = { n: fmt(n, Number.isInteger(n) ? 0 : undefined), ...params };
  if (!forms) return fill(n === 1 ? one : many, all);
  const rules = new Intl.PluralRules(language);
  const kinds = /** @type {Intl.LDMLPluralRule[]} */ (["zero", "one", "two", "few", "many", "other"]).filter((kind) =>
    rules.resolvedOptions().pluralCategories.includes(kind),
  );
  const index = forms.length === kinds.length ? kinds.indexOf(rules.select(n)) : Number(n !== 1);
  return fill(forms[Math.min(index, forms.length - 1)], all);
}

export const lang = () => language;
export const dir = () => (RTL.test(language) || document.documentElement.dataset.dir === "rtl" ? "rtl" : "ltr");

/** How the unit writes days and times, and spells English: the kit says. */
let dates = { order: "dmy", clock: "24" };
let english = "en";
/** @param {Unit | null | undefined} unit */
export const setUnit = (unit) => {
  dates = unit?.dates ?? dates;
  english = unit?.english ?? english;
};
/** Whether the unit writes 10:05 PM. */
export const twelve = () => dates.clock === "12";

/** Turn to a language: its catalogue is a file of the release, so it is there without a network. */
export async function speak(code) {
  const files = JSON.parse(document.documentElement.dataset.words || "{}");
  const file = files[code === "en" ? english : code];
  const answer = file && (await fetch(file).catch(() => null));
  catalogue = answer?.ok ? await answer.json() : {};
  language = answer?.ok || code === "en" ? code : "en";
  Object.assign(document.documentElement, { lang: language, dir: dir() });
}

/** The decimal sign of the language: "." or ",". */
export const decimalSign = () =>
  new Intl.NumberFormat(language).formatToParts(1.5).find((part) => part.type === "decimal")?.value ?? ".";

/** Figures that a typed number can have; what stands behind them is dust of binary fractions. */
const FIGURES = 12;
const undusted = (number) => (typeof number === "number" ? Number(number.toPrecision(FIGURES)) : number);
/** A number with the language's decimal sign; without `decimals` as it was typed. Unknown is "–". */
export function fmt(number, decimals) {
  if (number == null || Number.isNaN(number)) return "–";
  const text = decimals == null ? String(undusted(number)) : shown(number, decimals);
  return text.replace(".", decimalSign()).replace("-", "−");
}

/** The patient's time zone, from the kit. */
export const setZone = (name) => {
  zone = name;
};
export const zoneName = () => zone;

/** English as it is written in most of the world: the day before the month. */
const locale = () => (language === "en" ? "en-GB" : language);
/** @param {Date} moment @param {Intl.DateTimeFormatOptions} parts */
function written(moment, parts, timeZone) {
  const maker = new Intl.DateTimeFormat(locale(), { ...parts, timeZone });
  if (dates.order === "dmy") return maker.format(moment);
  const said = Object.fromEntries(maker.formatToParts(moment).map(({ type, value }) => [type, value]));
  return [said.weekday, `${said.month} ${said.day}`].filter(Boolean).join(", ");
}
const DAY = /** @type {const} */ ({ weekday: "long", day: "numeric", month: "long" });
/** "22:10" -> "10:10 PM" where the unit has such a clock. @param {string} clock */
export function clockTold(clock) {
  if (!twelve()) return clock;
  const hour = Number(clock.slice(0, 2));
  return `${hour % 12 || 12}${clock.slice(2)} ${hour < 12 ? "AM" : "PM"}`;
}
const CLOCK = /** @type {const} */ ({ hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
/** "22:10" on the patient's wall, or "10:10 PM". @param {Iso | null | undefined} iso */
export const timeOf = (iso) =>
  iso ? clockTold(new Intl.DateTimeFormat("en-GB", { ...CLOCK, timeZone: zone }).format(new Date(iso))) : "–";
/**
 * "Sunday 1 March" in the patient's zone, with the joining words of the language, or "Sunday, March 1": as the unit has
 * it.
 * @param {Iso | null | undefined} iso
 */
export const dayOf = (iso) => (iso ? written(new Date(iso), DAY, zone) : "–");
/** "Sunday 1 March" of a plain day, "2026-03-01", which lies in no time zone. @param {string | null | undefined} day */
export const plainDay = (day) => (day ? written(new Date(`${day}T12:00:00Z`), DAY, "UTC") : "–");
/** "1 Mar", for axes and tables. @param {Iso | null | undefined} iso */
export const shortDay = (iso) => (iso ? written(new Date(iso), { day: "numeric", month: "short" }, zone) : "–");
const sixties = (count) => `${Math.floor(count / 60)}:${String(Math.floor(count % 60)).padStart(2, "0")}`;
/** Minutes as "3:40". */
export const hours = (minutes) => sixties(minutes);
/** Seconds as "3:40". */
export const stopwatch = (seconds) => sixties(seconds);
