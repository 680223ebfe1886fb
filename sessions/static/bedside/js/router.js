/*
 * Screens by their address `#/name/param`. A screen is
 *   register("name", {title(ctx, params), draw(ctx, params) -> Node | Node[], bar?(ctx, params) -> [{label, go | tap,
 *   tone, hint}], light?, toUnit?})
 * `params` is always a list of texts: go("reading", 2) opens #/reading/2 and draws with ["2"]. In `bar` the first is
 * the main action, `go` a screen's name (or [name, ...params]), `tap` a function. `light: true` leaves out the head and
 * makes the main action as tall as the thumb's half. `toUnit: true`: it tells the unit something beside the
 * record, which practice never does. One h1 a screen: the frame draws it from `title`.
 */

import { clearAway, isSpent } from "./over.js";

/** @type {Map<string, BedsideScreen>} */
const screens = new Map();
/** @type {(place: {name: string, params: string[]}, screen: BedsideScreen | undefined, fresh: boolean) => void} */
let drawFrame = () => {};
let last = "";
let visits = 0;
/** @type {Promise<void> | null} */
let rest = null;
let whole = false;

/** @param {string} name @param {BedsideScreen} screen */
export const register = (name, screen) => screens.set(name, screen);
export const screenOf = (name) => screens.get(name);
export const addressOf = (name, ...params) =>
  `#/${[name, ...params.flat().filter((each) => each != null)].map(encodeURIComponent).join("/")}`;

/** Go to a screen; `replace` leaves no step behind. */
export function go(name, ...params) {
  const address = addressOf(name, ...params);
  if (location.hash === address) draw(true);
  else location.hash = address;
}

/** How often the address has changed: whoever comes back to a screen is on another visit. */
export const visit = () => visits;

export function replace(name, ...params) {
  clearAway();
  history.replaceState(history.state, "", addressOf(name, ...params));
  draw(true);
}

export function back() {
  if (history.length > 1 && last) history.back();
  else go("tonight");
}

const asked = () => location.hash.replace(/^#\/?/, "").split("/").map(decodeURIComponent);

/** Where the address points: {name, params}. */
export function here() {
  const [name, ...params] = asked();
  return { name: screens.has(name) || (name && !whole) ? name : "tonight", params };
}

/** The screens of later.js, once; after a failure they are asked for again. */
export function fetchRest() {
  rest ??= import(document.documentElement.dataset.later ?? "").then(
    () => {
      whole = true;
    },
    (problem) => {
      rest = null;
      throw problem;
    },
  );
  return rest;
}

/** Draw the screen of the address; `fresh` when it was gone to, and so is announced and focused. */
export function draw(fresh = false) {
  const place = here();
  drawFrame(place, screens.get(place.name), fresh);
}

/** main.js tells how the frame is drawn; then the address decides. */
export function startRouter(frame) {
  drawFrame = frame;
  window.addEventListener("hashchange", ({ oldURL, newURL }) => {
    if (isSpent(newURL)) return;
    last = oldURL;
    visits += 1;
    clearAway();
    draw(true);
  });
  draw(true);
}
