/* Before the first treatment: what this is and is not, and what makes the phone fit for a night. */

import { homeScreenPart } from "../home_screen.js";
import * as offline from "../offline.js";
import { isPractice, practise } from "../practice.js";
import { tryButton } from "../reminders.js";
import { register } from "../router.js";
import { bigButton, dl, h, note } from "../ui.js";
import { setPlain } from "../vault.js";
import { t } from "../words.js";

const about = () => [
  t("One step after another, with the main touch under your thumb. Each touch can be undone."),
  t("All of it works without a network; what you enter goes to the unit when there is one."),
  t("“Something is wrong” is in the same corner of every screen: what to do, and both numbers."),
  t("This is a record, not an alarm: nobody watches it. The machine's own alarms stay on."),
];

const part = (title, ...inside) => h("section", { class: "card" }, h("h2", { text: title }), ...inside);

register("welcome", {
  title: () => t("Before your first treatment"),
  draw: (ctx) => [
    part(
      t("How it works"),
      h(
        "ul",
        null,
        about().map((text) => h("li", { text })),
      ),
    ),
    part(
      t("Does it open without a network?"),
      note(
        offline.isReady() ? t("Yes: everything that a treatment needs is on this phone.") : t("Not yet."),
        offline.isReady() ? "good" : "care",
      ),
      dl(offline.pieces()),
    ),
    part(t("On the home screen"), homeScreenPart(ctx)),
    part(
      t("PIN"),
      h("p", { text: t("Without one, whoever can open this phone can read your record.") }),
      bigButton(t("Set a PIN"), () => ctx.go("settings"), { data: { k: "pin" } }),
    ),
    part(t("Reminder"), tryButton()),
    part(
      t("Practise"),
      h("p", {
        text: t(
          "Go through a whole treatment on this phone before the first one, and again each year. Every screen says " +
            "that it is practice; nothing of it is sent to the unit, and it is thrown away at the end.",
        ),
      }),
      ctx.busy() || isPractice(ctx)
        ? null
        : bigButton(t("Practise a treatment"), () => practise(ctx), { data: { k: "practise" } }),
    ),
    part(
      t("Paper"),
      h("p", { text: t("Print a sheet now and keep it beside the machine, for the night on which the phone fails.") }),
      bigButton(t("Paper and own data"), () => ctx.go("takeout"), { data: { k: "takeout" } }),
    ),
  ],
  bar: (ctx) => [
    {
      label: t("I have seen this"),
      tap: () => {
        setPlain("introduced", ctx.kit.account.id);
        ctx.go("tonight");
      },
    },
  ],
});
