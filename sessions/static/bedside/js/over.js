/*
 * What lies over a screen: a pad, a panel that asks. The phone's own way back closes it, and only that. For this an
 * entry of the history is made when it opens, with the address that lies under it; once the entry is spent it is
 * stepped over, so that no touch of the way back does nothing.
 */

/** How to close what lies over the screen, the uppermost last. @type {(() => void)[]} */
const open = [];
/** The address under the entry on which the person stands, where that entry was made here. @type {string | null} */
let under = history.state?.over ?? null;

const here = () => location.hash;

function makeEntry() {
  under = here();
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
  const close = open.pop();
  if (close) {
    const at = /** @type {HTMLElement | null} */ (document.activeElement);
    if (at?.matches("input, textarea")) at.blur(); // a screen on which somebody types is not drawn anew
    close();
    if (open.length && left === here()) makeEntry();
  } else if (left !== null && under === null && left === here()) history.back();
}

/** Another screen comes: nothing of the one before stays over it. */
export function clearAway() {
  under = history.state?.over ?? null;
  while (open.length) /** @type {() => void} */ (open.pop())();
}

window.addEventListener("popstate", popped);
