/*
 * What lies over a screen: a pad, a panel that asks. The phone's own way back closes it, and only that. For this an
 * entry of the history is made when it opens, and the one under it is marked as its base; once the entry is spent the
 * base is stepped over too, so that no touch of the way back does nothing.
 */

/** How to close what lies over the screen, the uppermost last. @type {(() => void)[]} */
const open = [];
/** The mark of the base under the entry on which the person stands, where that was made here. @type {string | null} */
let under = history.state?.over ?? null;

function makeEntry() {
  under = crypto.randomUUID();
  history.replaceState({ base: under }, "");
  history.pushState({ over: under }, "");
}

/** Something opens; `close` is for the way back -> what to call when it was closed by its own touch. */
export function layOver(close) {
  open.push(close);
  if (under === null) makeEntry();
  return () => {
    if (open.includes(close)) open.splice(open.indexOf(close), 1);
  };
}

/** @param {PopStateEvent} event */
function popped({ state }) {
  const left = under;
  under = state?.over ?? null;
  const isBase = left !== null && state?.base === left; // another screen that was gone to has no mark
  const close = open.pop();
  if (close) {
    const at = /** @type {HTMLElement | null} */ (document.activeElement);
    if (at?.matches("input, textarea")) at.blur(); // a screen on which somebody types is not drawn anew
    close();
    if (open.length && isBase) makeEntry();
  } else if (isBase) history.back();
}

/** Another screen comes: nothing of the one before stays over it. */
export function clearAway() {
  under = history.state?.over ?? null;
  while (open.length) /** @type {() => void} */ (open.pop())();
}

window.addEventListener("popstate", popped);
