/*
 * The emergency cards that hold on this phone: the unit's out of the kit, else those that came with the program. Where
 * nothing of the unit is here, nobody has checked them.
 */

import { h } from "./ui.js";
import { lang } from "./words.js";

/** @type {Record<string, EmergencyTexts>} */
let fallback = {};

/** later.js brings the program's own cards. @param {Record<string, EmergencyTexts>} texts */
export const bringFallback = (texts) => {
  fallback = texts;
};

/**
 * Cards, and what stands on each; null before either is here.
 * @param {Kit | null} kit
 * @returns {EmergencyTexts | null}
 */
export const textsOf = (kit) =>
  kit?.cards?.length && kit.on_each_card ? /** @type {any} */ (kit) : (fallback[lang()] ?? fallback.en ?? null);

/** The card of this kind. @param {Kit | null} kit @param {string} kind @returns {EmergencyCard | null} */
export const cardOf = (kit, kind) => textsOf(kit)?.cards.find((card) => card.kind === kind) ?? null;

/** The card that is the first aid of a kind of event, if it has one. @param {Kit | null} kit @param {string} event */
export const cardOfEvent = (kit, event) => textsOf(kit)?.cards.find((card) => card.events.includes(event)) ?? null;

/**
 * A line under a text that nurse and nephrologist have not both signed, or whose date has passed; null where they have.
 * @param {Kit | null} kit @param {boolean | undefined} checked
 */
export const uncheckedLine = (kit, checked) =>
  checked === false ? h("p", { class: "unchecked", text: textsOf(kit)?.on_each_card.unchecked ?? "" }) : null;
