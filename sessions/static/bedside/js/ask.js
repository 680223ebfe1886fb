/* Several numbers asked one after the other, and a field for words. */

import { getPath, limitsAt, limitsOf, rowOf, setPath, takeNumber } from "./draft.js";
import { inWords } from "./numbers.js";
import { askNumber } from "./pad.js";
import { typed } from "./ready.js";
import { h } from "./ui.js";
import { t } from "./words.js";

/** The label of a path of the document, as people read it. @param {Ctx} ctx @param {string} path */
export const labelOf = (ctx, path) => t(limitsOf(ctx.kit, path)?.label ?? path);
/** @param {Ctx} ctx @param {string} path */
export const valueAt = (ctx, path) => getPath(ctx.night, path) ?? null;
/** @param {Ctx} ctx */
export const unset = (ctx, paths) => paths.filter((path) => valueAt(ctx, path) === null);

/**
 * Ask for each of the paths that has no number yet, pad after pad; leaving one ends it. `last(path)` is shown, and
 * the words of `aside(path)` beside it.
 * @param {Ctx} ctx @param {string[]} paths @param {(path: string) => number | null} last
 * @param {(path: string) => string} aside
 */
export async function askAll(ctx, paths, last = (_path) => null, aside = (_path) => "") {
  for (const path of unset(ctx, paths)) {
    const limits = limitsAt(ctx.kit, rowOf(ctx.night, path), path);
    const answer = await askNumber({ label: labelOf(ctx, path), limits, last: last(path), aside: aside(path) });
    if (answer === undefined) return;
    if (answer === null) continue;
    const words = t("{field}: {value}", { field: labelOf(ctx, path), value: inWords(limits, answer) });
    ctx.change(words, (night) => takeNumber(night, path, answer, limits));
  }
}

/**
 * Words for a path of the document. They are kept with every letter and without a redraw, so that the keyboard stays;
 * each leaving of the field is one step that can be undone by the keyboard's own means.
 * @param {Ctx} ctx @param {string} path @param {string} label
 * @param {{hint?: string, rows?: number, onInput?: (text: string) => void}} [looks]
 */
export function textField(ctx, path, label, { hint, rows = 3, onInput } = {}) {
  const area = h("textarea", { id: `text-${path}`, rows, maxlength: 2000, data: { path } });
  area.value = getPath(ctx.night, path) ?? "";
  area.addEventListener("input", () => {
    setPath(ctx.night, path, typed(area.value));
    ctx.save();
    onInput?.(area.value);
  });
  return h(
    "div",
    { class: "words" },
    h("label", { for: area.id, text: label }),
    hint && h("small", { text: hint }),
    area,
  );
}
