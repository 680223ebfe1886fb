/*
 * The page on the phone's home screen: what this browser offers, told by what it has and never by its name. That a
 * browser clears pages after seven days without use, and keeps another storage for the home screen, is from memory.
 */

import { bigButton, h, note } from "./ui.js";
import { t } from "./words.js";

/** @type {any} */
let offer = null;

window.addEventListener("beforeinstallprompt", (event) => {
  event.preventDefault();
  offer = event;
});

/** Only the browser of iPhones says whether it stands on the home screen in this way. */
const byHand = () => "standalone" in navigator;

/** Whether this is the page of the home screen. */
const isAtHome = () =>
  window.matchMedia("(display-mode: standalone)").matches || /** @type {any} */ (navigator).standalone === true;

/** Whether the browser clears this page when it was not opened for a week. */
export const isClearedAfterAWeek = () => byHand() && !isAtHome();

async function install(redraw) {
  await offer.prompt();
  offer = null;
  redraw();
}

function steps() {
  const how = [
    t("Touch “Share”: the square with an arrow."),
    t("Choose “Add to Home Screen”."),
    t("Open it from the home screen and sign in there once."),
  ];
  return [
    h(
      "ol",
      null,
      how.map((text) => h("li", { text })),
    ),
    note(
      t(
        "Do it before the first treatment: the home screen has a storage of its own, and a night begun here is " +
          "not in " +
          "it. Here, what is kept is cleared when the page was not opened for seven days; there it is not.",
      ),
      "care",
    ),
  ];
}

/** The way to the home screen, as it is in this browser -> nodes. @param {Ctx} ctx */
export function homeScreenPart(ctx) {
  if (isAtHome()) return h("p", { text: t("This page was opened from the home screen.") });
  const place = () => install(ctx.redraw);
  if (offer) return bigButton(t("Put it on the home screen"), place, { data: { k: "install" } });
  if (byHand()) return steps();
  return h("p", {
    text: t("If the browser's menu has “Install” or “Add to home screen”, use it: then it opens with one touch."),
  });
}
