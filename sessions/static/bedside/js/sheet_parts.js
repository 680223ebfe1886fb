/* Parts of the sheets that more than one screen shows: a figure to be set or read, steps that stand together. */

import { h } from "./ui.js";

/**
 * A figure to be set on the machine, or read off it, from an arm's length.
 * @param {string} label @param {string} value
 */
export const figureRow = (label, value) =>
  h("p", { class: "speed" }, h("span", { text: label }), h("b", { text: value }));

/**
 * Steps on one screen, each with what belongs to it.
 * @param {SheetStep[]} steps @param {(step: SheetStep) => any} parts
 */
export const stepList = (steps, parts) =>
  h(
    "ol",
    { class: "together" },
    steps.map((step) => h("li", null, h("p", null, h("b", { text: step.words })), parts(step))),
  );
