/*
 * Ready-made words in the record. The record keeps them in English, in which the unit's pages are written; people see
 * them in their own language. What somebody typed stays as typed.
 */

import { t } from "./words.js";

const ready = new Set();

/** Mark words that may come to stand in a record -> the same words. At the top of a module, so that all are known. */
export function kept(english) {
  ready.add(english);
  return english;
}

/** A sentence for the record out of kept words with {placeholders}. */
export const filled = (english, params) => english.replace(/\{(\w+)\}/g, (whole, name) => params[name] ?? whole);

/** The unit's own words of a check, a step or a card, as the record keeps them. */
export const asKept = (row) => row.kept ?? row.name ?? row.words;

const escaped = (text) => text.replace(/[.*+?^${}()|[\]\\]/g, "\\$&");

/**
 * Every kept word -> how it is read here: the ready-made ones, and checks and steps of the kit in another language.
 * @param {Kit | null} kit
 */
function readings(kit) {
  const rows = [...(kit?.checklist?.items ?? []), ...(kit?.run_sheet?.steps ?? [])].filter((row) => row.kept);
  /** @type {Map<string, string>} */
  const read = new Map();
  for (const english of ready) read.set(english, t(english));
  for (const row of rows) read.set(row.kept ?? "", row.name ?? row.words);
  return read;
}

/**
 * Words out of a record as people read them: each part that is ready-made is translated, the others stand as typed.
 * @param {Kit | null} kit
 */
export function read(kit, text) {
  const words = readings(kit);
  const longest = [...words.keys()].sort((a, b) => b.length - a.length).map(escaped);
  const token = new RegExp(longest.join("|"), "g");
  const isReady = (part) => !/[^\s;,.]/.test(part.replace(token, ""));
  return text
    .split(": ")
    .map((part) => (isReady(part) ? part.replace(token, (english) => words.get(english) ?? english) : part))
    .join(": ");
}
