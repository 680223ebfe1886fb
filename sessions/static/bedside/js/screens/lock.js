/* What stands before the screens: the PIN, another window, the first start, a phone that was taken back. */

import { ctx as app } from "../app.js";
import { callButtons, unitOfPage } from "../calls.js";
import { register } from "../router.js";
import { bigButton, byId, h, note } from "../ui.js";
import * as vault from "../vault.js";
import { fmt, t, tn } from "../words.js";

const MOST = 12;
let typed = "";
let said = "";
let until = 0;

const waitWords = () => {
  const seconds = Math.ceil((until - Date.now()) / 1000);
  return seconds > 0
    ? tn(
        "Wait {n} second, then try again. Nothing is lost.",
        "Wait {n} seconds, then try again. Nothing is lost.",
        seconds,
      )
    : "";
};

async function tryPin() {
  if (!typed || Date.now() < until) return;
  const pin = typed;
  typed = "";
  const answer = await vault.unlock(pin);
  said = answer.open ? "" : t("That is not the PIN.");
  until = Date.now() + (answer.wait ?? 0);
  if (answer.open) return app.enter();
  app.redraw();
  if (answer.wait) setTimeout(app.redraw, answer.wait + 50);
}

function press(figure) {
  said = "";
  typed = figure === "" ? typed.slice(0, -1) : (typed + figure).slice(0, MOST);
  show();
}

const dots = () =>
  h("p", {
    class: "dots",
    id: "dots",
    role: "status",
    aria: { label: tn("{n} figure entered", "{n} figures entered", typed.length) },
    text: "●".repeat(typed.length) || "–",
  });

/** Only the dots are drawn anew: the keys keep their focus. */
function show() {
  document.getElementById("dots")?.replaceWith(dots());
  byId("pin-said").textContent = said;
}

function onKey(event) {
  if (/^\d$/.test(event.key)) press(event.key);
  else if (event.key === "Backspace") press("");
  else if (event.key === "Enter" && !event.target.matches(".pad-key:not(.enter)")) {
    event.preventDefault();
    tryPin();
  }
}

function pinKeys() {
  const key = (text, act, name = "", label) =>
    h("button", {
      type: "button",
      class: `pad-key ${name}`,
      aria: { label },
      text,
      data: { k: `pin/${text}` },
      on: { click: act },
    });
  const digits = [1, 2, 3, 4, 5, 6, 7, 8, 9].map((figure) => key(fmt(figure), () => press(String(figure))));
  return h(
    "div",
    { class: "pad-keys" },
    digits,
    key("⌫", () => press(""), "", t("Delete the last figure")),
    key(fmt(0), () => press("0")),
    key(t("Open"), tryPin, "enter"),
  );
}

register("lock", {
  title: () => t("Locked"),
  draw: () =>
    h(
      "div",
      { class: "lock", on: { keydown: onKey } },
      h("p", { text: t("Your PIN opens what is kept on this phone. It works without a network.") }),
      dots(),
      h("p", { class: "problem", id: "pin-said", role: "alert", text: [said, waitWords()].filter(Boolean).join(" ") }),
      pinKeys(),
      h(
        "details",
        null,
        h("summary", { text: t("I do not know the PIN") }),
        h("p", {
          text: t(
            "Without the PIN nobody can open what is kept here, the unit neither. What the unit has already is " +
              "safe. A night that was not sent is lost: if the PIN comes back to you, it is still here.",
          ),
        }),
        bigButton(t("Delete what is kept here and begin anew"), startAnew, {
          tone: "danger",
          hint: t("Needs the network"),
        }),
        h("p", { class: "problem", id: "anew-said", role: "alert" }),
      ),
    ),
});

/** Only with the unit in reach: otherwise the phone would be left without a prescription. */
async function startAnew() {
  if (!navigator.onLine) {
    byId("anew-said").textContent = t(
      "There is no network: without it this phone would have no prescription. Use the paper sheet tonight.",
    );
    return;
  }
  await vault.wipe();
  location.replace("/tonight/");
}

register("taken", {
  title: () => t("Open in another window"),
  draw: () => [
    note(
      t(
        "The bedside is open in another window or tab of this phone. Only one may write, so that nothing is " +
          "overwritten.",
      ),
    ),
  ],
  bar: () => [
    {
      label: t("Use it here"),
      tap: async () => {
        await vault.takeOver();
        await app.startAgain();
      },
    },
  ],
});

const FIRST_WORDS = {
  unreachable: () =>
    t(
      "The unit cannot be reached. The first start on this phone needs the network; after that everything works " +
        "without.",
    ),
  signedOut: () => t("Sign in once on this phone; after that everything works without a network for a week."),
};

register("first", {
  title: () => t("Home dialysis"),
  draw: () =>
    app.trouble
      ? [
          note(
            (
              FIRST_WORDS[app.trouble] ??
              (() => t("The unit's server did not answer as expected. Try again, or call the unit."))
            )(),
            "care",
          ),
          h("p", { text: t("Is a treatment due now? Use the paper sheet until this phone has started.") }),
          callButtons(unitOfPage(), "calm"),
        ]
      : h("p", { class: "soft", text: t("Asking the unit for your prescription …") }),
  bar: () =>
    (app.trouble &&
      [
        app.trouble === "signedOut" && {
          label: t("Sign in"),
          tap: () => location.assign("/accounts/login/?next=/tonight/"),
        },
        { label: t("Try again"), tap: () => app.refresh(null) },
      ].filter(Boolean)) ||
    [],
});

register("gone", {
  title: () => t("This phone was taken back"),
  draw: () => [
    note(t("The unit or you took this phone back, and everything that was kept on it has been deleted."), "stop"),
    app.gone?.reason && h("p", { text: app.gone.reason }),
    app.gone?.lost
      ? note(
          tn(
            "{n} entry had not reached the unit and was deleted with it: tell the unit.",
            "{n} entries had not reached the unit and were deleted with it: tell the unit.",
            app.gone.lost,
          ),
          "care",
        )
      : null,
    h("p", { text: t("To use it again, sign in. If you did not expect this, call the unit.") }),
  ],
  bar: () => [{ label: t("Sign in"), tap: () => location.assign("/accounts/login/?next=/tonight/") }],
});
