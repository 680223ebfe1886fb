/*
 * Ready-made words in the record. The record keeps a code between brackets that nobody types, with what fills its words
 * behind it (⟦felt⟧, ⟦sooner|n=12|all=30⟧); the kit has the words of each code in the person's language. Pure.
 */

const CODED = /⟦(\w+)((?:\|\w+=[^⟦⟧|]*)*)⟧/g;

/** What somebody typed, as a record may hold it: without the brackets of a code. @param {string} text */
export const typed = (text) => text.replace(/[⟦⟧]/g, "");

/** A code as it stands in a text of the record, with {parts} for its words. @param {string} code */
export const coded = (code, parts = {}) => {
  const filled = Object.entries(parts).map(([name, value]) => `${name}=${String(value).replace(/[⟦⟧|]/g, " ")}`);
  return `⟦${[code, ...filled].join("|")}⟧`;
};

/**
 * A text of the record as people read it; a code that nobody knows any more stands as it is.
 * @param {Kit | null} kit @param {string | undefined} text
 */
export const wordsOf = (kit, text = "") =>
  text.replace(CODED, (whole, code, list) => {
    const parts = Object.fromEntries(list.split("|").map((part) => part.split(/=(.*)/s, 2)));
    const words = kit?.ready?.[code];
    return typeof words === "string" ? words.replace(/\{(\w+)\}/g, (place, name) => parts[name] ?? place) : whole;
  });

/** The words of a code. @param {Kit | null} kit @param {string} code */
export const say = (kit, code, parts = {}) => wordsOf(kit, coded(code, parts));

/** The unit's own words of a check, a step or a card, as the record keeps them. */
export const asKept = (row) => row.kept ?? row.name ?? row.words;

/**
 * What a check or a step of the record is called: one that came with the program goes by its key, in the language of
 * the kit; what was answered behind it stays.
 * @param {Kit | null} kit
 */
export function calledHere(kit, row) {
  const words = row.name ?? row.words;
  const rows = [...(kit?.checklist?.items ?? []), ...(kit?.run_sheet?.steps ?? [])];
  const own = rows.find(({ key, kept }) => kept && key === row.key && words.startsWith(kept));
  return wordsOf(kit, own ? (own.name ?? own.words) + words.slice(own.kept?.length) : words);
}
