/* How this phone is used: hand, light, letters, language, PIN, who enters, devices, signing out. */

import { hands, idleMinutes, textSizes, themes } from "../choices.js";
import { whenWords } from "../fields.js";
import { homeScreenPart } from "../home_screen.js";
import * as kits from "../kit.js";
import { signOut, unsent } from "../leaving.js";
import { layOver } from "../over.js";
import { isPractice } from "../practice.js";
import { go, register } from "../router.js";
import { handOf, languageOf, set } from "../settings.js";
import { bigButton, byId, choiceRow, dl, h, note, toast } from "../ui.js";
import { takeUpdate } from "../update.js";
import * as vault from "../vault.js";
import { t, tn } from "../words.js";

const LEAST = 4;
/** Whether a PIN is set and its form open; null until that is known. @type {{set: boolean, form: boolean} | null} */
let pin = null;
let leaving = false;
let lift = () => {};

const languages = () => JSON.parse(document.documentElement.dataset.languages || '{"en":"English"}');

/** A choice at once in force, with the way back. @param {Ctx} ctx */
async function choose(ctx, changes, label) {
  const before = Object.fromEntries(Object.keys(changes).map((name) => [name, ctx.settings[name]]));
  await take(ctx, changes);
  toast(label, () => take(ctx, before));
}

/**
 * A language reaches the account as an errand, so also when it was chosen without a network; in practice it is this
 * phone's alone. The unit's texts come in it too: each asking for the kit says in which language the screens are.
 * @param {Ctx} ctx
 */
async function take(ctx, changes) {
  await set(changes, ctx.kit);
  ctx.redraw();
  if (!("language" in changes) || !ctx.kit?.account) return;
  if (!isPractice(ctx))
    await ctx.errand({
      url: "/language/",
      body: { language: ctx.settings.language },
      words: t("Language"),
      instead: true,
    });
  if (ctx.online()) await ctx.refresh();
}

/** @param {Ctx} ctx */
function row(ctx, name, label, options, value = ctx.settings[name]) {
  return choiceRow(label, options, value, (picked) =>
    choose(ctx, { [name]: picked }, `${label}: ${options.find((each) => each.value === picked).label}`),
  );
}

/* The PIN ------------------------------------------------------------------------------------------- */

/** @param {Ctx} ctx */
function pinForm(ctx) {
  const field = (id, label) => [
    h("label", { for: id, text: label }),
    h("input", {
      id,
      type: "password",
      inputmode: "numeric",
      autocomplete: "off",
      pattern: "[0-9]*",
      maxlength: 12,
      data: { k: id },
    }),
  ];
  const said = h("p", { class: "problem", role: "alert" });
  const save = async (event) => {
    event.preventDefault();
    const [one, two] = ["pin-one", "pin-two"].map((id) => /** @type {HTMLInputElement} */ (byId(id)).value);
    if (!/^\d+$/.test(one) || one.length < LEAST)
      said.textContent = t("A PIN has {least} to 12 figures; {given} were given.", { least: LEAST, given: one.length });
    else if (one !== two) said.textContent = t("The two are not the same.");
    else {
      await vault.setPin(one);
      await remember(ctx, t("The PIN is set."));
    }
  };
  return h(
    "form",
    { class: "card", on: { submit: save } },
    field("pin-one", t("New PIN, six figures or more are better")),
    field("pin-two", t("The same again")),
    said,
    h("button", { class: "big go", type: "submit", text: t("Set the PIN") }),
    bigButton(t("Leave"), () => showForm(ctx, false)),
  );
}

/** @param {Ctx} ctx @param {boolean} form */
function showForm(ctx, form) {
  lift();
  if (form) lift = layOver(() => showForm(ctx, false));
  pin = { set: Boolean(pin?.set), form };
  ctx.redraw();
}

/** @param {Ctx} ctx */
async function remember(ctx, words = "") {
  pin = { set: await vault.hasPin(), form: false };
  lift();
  ctx.redraw();
  if (words) toast(words);
}

/** @param {Ctx} ctx */
function pinPart(ctx) {
  if (!pin) remember(ctx);
  if (pin?.form) return pinForm(ctx);
  return h(
    "section",
    { class: "card" },
    h("h2", { text: t("PIN") }),
    pin &&
      !pin.set &&
      note(
        t(
          "This phone has no PIN. What is kept here is encrypted, but the key lies beside it: whoever can open " +
            "this phone can read your record.",
        ),
        "care",
      ),
    h("p", {
      class: "soft",
      text: t(
        "With a PIN everything kept here is encrypted, and locks itself. It holds off somebody who picks up the " +
          "phone. It does not hold off an expert who copies the phone's storage and tries every PIN: more figures " +
          "help, and so does the phone's own lock. Nobody can tell you a forgotten PIN.",
      ),
    }),
    bigButton(pin?.set ? t("Change the PIN") : t("Set a PIN"), () => showForm(ctx, true), {
      tone: pin?.set ? "plain" : "go",
      data: { k: "pin" },
    }),
    pin?.set && [
      row(ctx, "lockAfter", t("Lock when untouched for"), idleMinutes()),
      bigButton(t("Lock now"), ctx.lock),
      bigButton(t("Take the PIN away"), async () => {
        await vault.setPin("");
        await remember(ctx, t("The PIN is taken away: what is kept here is no longer protected by it."));
      }),
    ],
  );
}

/* Leaving ------------------------------------------------------------------------------------------- */

/** @param {Ctx} ctx */
async function leave(ctx) {
  const ending = await signOut(ctx);
  if (ending !== "left") toast(t("The unit cannot be reached, so you are still signed in and nothing was deleted."));
}

/** @param {Ctx} ctx */
function leavePart(ctx) {
  const waiting = unsent(ctx);
  if (!leaving)
    return bigButton(t("Sign out of this phone"), () => {
      leaving = true;
      ctx.redraw();
    });
  const words = waiting.length
    ? tn(
        "{n} entry has not reached the unit. Signing out deletes it.",
        "{n} entries have not reached the unit. Signing out deletes them.",
        waiting.length,
      )
    : t("The unit has everything. Signing out deletes what is kept on this phone; it comes back when you sign in.");
  return h(
    "section",
    { class: "card" },
    note(words, waiting.length ? "stop" : "plain"),
    waiting.length ? bigButton(t("Send first"), () => go("queue"), { tone: "go" }) : null,
    bigButton(waiting.length ? t("Delete and sign out") : t("Sign out"), () => leave(ctx), {
      tone: waiting.length ? "danger" : "go",
    }),
    bigButton(t("Stay signed in"), () => {
      leaving = false;
      ctx.redraw();
    }),
  );
}

/* The rest ------------------------------------------------------------------------------------------ */

/** @param {Ctx} ctx */
function release(ctx) {
  const version = document.documentElement.dataset.release ?? "";
  const words =
    ctx.update && ctx.busy()
      ? t("New version, after this night.")
      : ctx.update
        ? t("A new version is ready.")
        : t("This is the newest version that the phone knows.");
  return h(
    "section",
    { class: "card" },
    h("h2", { text: t("Version") }),
    h("p", { text: `${words} (${version})` }),
    ctx.update && !ctx.busy() && bigButton(t("Take the new version"), () => takeUpdate(ctx), { tone: "go" }),
  );
}

function kept() {
  const state = vault.state();
  return state.persistent
    ? t("Yes, and the browser will not clear it to make room.")
    : state.ok
      ? t("Yes, but the browser may clear it when room runs short.")
      : t("No: see Storage of this phone.");
}

/** @param {Ctx} ctx */
function about(ctx) {
  const { kit } = ctx;
  if (!kit?.account) return null;
  return dl([
    [t("Entered by"), kit.account.name],
    [t("Record of"), kit.patient.name],
    [t("From the unit"), kits.current() ? whenWords(kits.current()?.kept_at ?? "") : null],
    [t("Kept on this phone"), kept()],
  ]);
}

register("settings", {
  title: () => t("Settings"),
  draw: (ctx) => [
    row(ctx, "hand", t("Thumb that is free"), hands(), handOf(ctx.kit)),
    row(ctx, "theme", t("Light of the screen"), themes()),
    row(ctx, "text", t("Letters"), textSizes()),
    h("p", { class: "soft", text: t("The letters also follow the phone's own text size.") }),
    row(
      ctx,
      "language",
      t("Language"),
      Object.entries(languages()).map(([value, label]) => ({ value, label })),
      languageOf(ctx.kit),
    ),
    isPractice(ctx) && note(t("You are practising: the language changes on this phone alone, and not at the unit.")),
    vault.state().denied ? null : pinPart(ctx),
    h("section", { class: "card" }, h("h2", { text: t("On the home screen") }), homeScreenPart(ctx)),
    about(ctx),
    release(ctx),
    ctx.kit?.account.role === "care_partner" && bigButton(t("Another patient"), ctx.askWhose),
    h(
      "div",
      { class: "rows" },
      bigButton(t("Your devices"), () => location.assign("/devices/"), { hint: t("Needs the network") }),
      bigButton(t("Your password"), () => location.assign("/accounts/password/change/"), {
        hint: t("Needs the network"),
      }),
      bigButton(t("Storage of this phone"), () => go("storage")),
    ),
    leavePart(ctx),
  ],
});
