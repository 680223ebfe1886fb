/* Elements and the few parts that every screen is made of. No markup text, no inline style. */

import { fmt, t } from "./words.js";

const SVG = "http://www.w3.org/2000/svg";

/** @template {HTMLElement | SVGElement} Made @param {Made} element @param {Props} props @param {any[]} children */
function hang(element, { on = {}, aria = {}, data = {}, text, class: names, ...rest }, children) {
  if (names) element.setAttribute("class", names);
  if (text != null) element.textContent = text;
  for (const [name, act] of Object.entries(on)) element.addEventListener(name, act);
  for (const [name, value] of Object.entries(aria)) if (value != null) element.setAttribute(`aria-${name}`, value);
  for (const [name, value] of Object.entries(data)) if (value != null) element.dataset[name] = value;
  for (const [name, value] of Object.entries(rest)) {
    if (value === true) element.setAttribute(name, "");
    else if (value != null && value !== false) element.setAttribute(name, value);
  }
  element.append(...children.flat(9).filter((child) => child != null && child !== false));
  return element;
}

/**
 * h("p", {class, on: {click}, aria: {label}, data: {}, text, hidden, id, …attributes}, ...children) -> Element.
 * @template {keyof HTMLElementTagNameMap} Tag @param {Tag} tag @param {Props | null} [props] @param {...any} children
 */
export const h = (tag, props, ...children) => hang(document.createElement(tag), props ?? {}, children);
/**
 * The same for pictures: svg("circle", {cx, cy, r}).
 * @template {keyof SVGElementTagNameMap} Tag @param {Tag} tag @param {Props | null} [props] @param {...any} children
 */
export const svg = (tag, props, ...children) => hang(document.createElementNS(SVG, tag), props ?? {}, children);

/**
 * A button of at least 56 px. tone "go" is the main one of a screen, "danger" red; hint is a line under the label.
 * @param {string} label @param {any} onTap
 * @param {{tone?: string, hint?: any, disabled?: boolean, aria?: Props["aria"], data?: Props["data"]}} [looks]
 */
export function bigButton(label, onTap, { tone = "plain", hint, disabled, aria, data } = {}) {
  const hinted = hint && h("small", { text: hint });
  return h(
    "button",
    { type: "button", class: `big ${tone}`, disabled, aria, data, on: { click: onTap } },
    h("span", { text: label }),
    hinted,
  );
}

/** Letters of an answer of which three stand side by side. */
const SHORT = 10;

/** One of several answers, each a large button: onPick(value) when one is touched. `value` is the one that stands. */
export function choiceRow(label, options, value, onPick) {
  const short = options.every((option) => !option.hint && option.label.length <= SHORT);
  const buttons = options.map((option) => {
    const chosen = option.value === value;
    const press = { click: () => onPick(option.value) };
    const look = {
      type: "button",
      class: "choice",
      aria: { pressed: chosen },
      data: { k: `${label}/${option.label}` },
    };
    return h(
      "button",
      { ...look, on: press },
      h("span", { text: option.label }),
      option.hint && h("small", { text: option.hint }),
    );
  });
  return h(
    "div",
    { class: "choices", role: "group", aria: { label } },
    h("p", { class: "label", text: label, aria: { hidden: "true" } }),
    h("div", { class: short ? "options short" : "options" }, buttons),
  );
}

/** Words in a box. tone "plain" | "good" | "care" | "stop"; care and stop begin with a word that says so. */
export function note(text, tone = "plain", ...more) {
  const sign = { care: t("Take care"), stop: t("Stop"), good: t("Good") }[tone];
  const lead = sign && h("strong", { text: `${sign}: ` });
  return h("div", { class: `note ${tone}`, role: tone === "stop" ? "alert" : null }, h("p", null, lead, text), more);
}

/** Pairs of [name, value] as a list; value may be a number with its unit [name, 3.2, "L", decimals] or a node. */
export function dl(pairs) {
  const rows = pairs.filter(Boolean).map(([name, value, unit, decimals]) => {
    const shown = typeof value === "number" ? fmt(value, decimals) : (value ?? t("not known"));
    return h(
      "div",
      null,
      h("dt", { text: name }),
      h("dd", null, shown, unit && value != null && h("span", { class: "unit", text: ` ${unit}` })),
    );
  });
  return h("dl", null, rows);
}

/** A part of the page that bedside.html has. @param {string} id @returns {HTMLElement} */
export const byId = (id) => /** @type {HTMLElement} */ (document.getElementById(id));

const live = () => byId("live");

/** Say something to those who listen; what is seen does not change. */
export function announce(text) {
  live().textContent = "";
  setTimeout(() => {
    live().textContent = text;
  }, 50);
}

/** So long the undo bar stays; later the way back stands under "More" [ms]. */
const TOLD_FOR = 8000;
/** @type {number | undefined} */
let told;

/** The undo bar leaves by itself, unless a keyboard is on it just then. */
function leave() {
  const bar = byId("undo");
  if (bar.contains(document.activeElement) && document.activeElement?.matches(":focus-visible"))
    told = setTimeout(leave, TOLD_FOR);
  else clearToast();
}

/** What stands in the head meanwhile comes back. */
export function clearToast() {
  byId("undo").replaceChildren();
  document.documentElement.classList.remove("told");
}

/**
 * The undo bar: what was done, and the way back. For some seconds it takes the place of the words in the head, so that
 * it covers nothing and moves nothing under a finger.
 */
export function toast(text, undo) {
  const bar = byId("undo");
  clearTimeout(told);
  told = setTimeout(leave, TOLD_FOR);
  const back =
    undo &&
    bigButton(
      t("Undo"),
      () => {
        clearToast();
        undo();
      },
      { aria: { label: t("Undo: {what}", { what: text }) }, data: { k: "undo" } },
    );
  bar.replaceChildren(h("p", { text }), ...(back ? [back] : []));
  document.documentElement.classList.add("told");
  announce(text);
}
