/*
 * Screens by their address `#/name/param`. A screen is
 *   register("name", {title(ctx, params), draw(ctx, params) -> Node | Node[], bar?(ctx, params) -> [{label, go | tap,
 *   tone, hint}], light?})
 * `params` is always a list of texts: go("reading", 2) opens #/reading/2 and draws with ["2"]. In `bar` the first is
 * the main action, `go` a screen's name (or [name, ...params]), `tap` a function. `light: true` leaves out the head and
 * makes the main action as tall as the thumb's half. One h1 a screen: the frame draws it from `title`.
 */

/** @type {Map<string, BedsideScreen>} */
const screens = new Map();
/** @type {(place: {name: string, params: string[]}, screen: BedsideScreen, fresh: boolean) => void} */
let drawFrame = () => {};
let last = "";

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

export function replace(name, ...params) {
  history.replaceState(null, "", addressOf(name, ...params));
  draw(true);
}

export function back() {
  if (history.length > 1 && last) history.back();
  else go("tonight");
}

/** Where the address points: {name, params}. */
export function here() {
  const [name, ...params] = location.hash.replace(/^#\/?/, "").split("/").map(decodeURIComponent);
  return { name: screens.has(name) ? name : "tonight", params };
}

/** Draw the screen of the address; `fresh` when it was gone to, and so is announced and focused. */
export function draw(fresh = false) {
  const place = here();
  drawFrame(place, /** @type {BedsideScreen} */ (screens.get(place.name)), fresh);
}

/** main.js tells how the frame is drawn; then the address decides. */
export function startRouter(frame) {
  drawFrame = frame;
  window.addEventListener("hashchange", ({ oldURL }) => {
    last = oldURL;
    draw(true);
  });
  draw(true);
}
