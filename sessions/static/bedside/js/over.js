/*
 * What lies over a screen: a pad, a panel that asks. The phone's own way back closes it, and only that. For this an
 * entry of the history is made when it opens, and the one under it is marked as its base; once the entry is spent the
 * base is stepped over too, so that no touch of the way back does nothing.
 */

/**
 * What lies over the screen, the uppermost last: how the way back closes it, what becomes of it where another screen
 * comes, and the address on which it lies. @type {{close: () => void, leave: () => void, href: string}[]}
 */
const open = [];
/** The mark of the base under the entry on which the person stands, where that was made here. @type {string | null} */
let under = history.state?.over ?? null;
/** The address of a base that was stepped back to, of which the browser tells as of another screen. */
let spent = "";

function makeEntry() {
  under = crypto.randomUUID();
  history.replaceState({ base: under }, "");
  history.pushState({ over: under }, "");
}

/** Something opens; `close` is for the way back -> what to call when it was closed by its own touch. */
export function layOver(close, leave = close) {
  const layer = { close, leave, href: location.href };
  open.push(layer);
  if (under === null) makeEntry();
  return () => {
    if (open.includes(layer)) open.splice(open.indexOf(layer), 1);
  };
}

/** The base has the address at which something was first laid over; meanwhile the screen may have another one. */
function keepAddress({ href }) {
  if (location.href === href) return;
  spent = location.href;
  history.replaceState(history.state, "", href);
}

/** @param {PopStateEvent} event */
function popped({ state }) {
  const left = under;
  under = state?.over ?? null;
  const isBase = left !== null && state?.base === left; // another screen that was gone to has no mark
  const layer = open.pop();
  if (!layer) return isBase ? history.back() : undefined;
  if (!isBase) return layer.leave();
  const at = /** @type {HTMLElement | null} */ (document.activeElement);
  if (at?.matches("input, textarea")) at.blur(); // a screen on which somebody types is not drawn anew
  keepAddress(layer);
  layer.close();
  if (open.length && under === null) makeEntry();
}

/** Whether an address that the browser tells of is that of a base, and no screen that was gone to. */
export function isSpent(address) {
  const found = spent !== "" && spent === address;
  spent = "";
  return found;
}

/** Another screen comes: nothing of the one before stays over it. */
export function clearAway() {
  under = history.state?.over ?? null;
  while (open.length) open.pop()?.leave();
}

window.addEventListener("popstate", popped);
