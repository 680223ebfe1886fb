/* What every frame of screens needs: the actions of a dock, and a focus that stays where it was. */

import { bigButton, byId, h } from "./ui.js";

/** One action of the dock: the first is the main one. @param {Ctx} ctx */
export function action(ctx, { label, go, tap, href, tone, hint, disabled }, index) {
  if (href)
    return h(
      "a",
      { class: `big ${tone ?? "plain"}`, href, data: { k: `bar/${label}` } },
      h("span", { text: label }),
      hint && h("small", { text: hint }),
    );
  const act = tap ?? (() => ctx.go(...[go].flat()));
  return bigButton(label, act, { tone: tone ?? (index ? "plain" : "go"), hint, disabled, data: { k: `bar/${label}` } });
}

/** By what the element with the focus is found again on a screen that is drawn anew. */
export function focusKey() {
  const at = /** @type {HTMLElement | null} */ (document.activeElement);
  return at?.id || at?.dataset?.k || at?.textContent;
}

export function refocus(key) {
  if (!key) return;
  /** @type {NodeListOf<HTMLElement>} */
  const all = document.querySelectorAll("button, a, input, select, textarea, summary, h1");
  const same = [...all].find((each) => (each.id || each.dataset.k || each.textContent) === key);
  same?.focus({ preventScroll: true });
}

/** Somebody writes a text: drawing the screen anew would take it away. */
export const isTyping = () =>
  byId("screen").contains(document.activeElement) && Boolean(document.activeElement?.matches("textarea, input"));
