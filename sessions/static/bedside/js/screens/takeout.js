/* The own record, taken out whole; and paper for the night on which the phone fails. */

import { register } from "../router.js";
import { h, note } from "../ui.js";
import { t } from "../words.js";

const file = (address, words, hint) =>
  h("a", { class: "big plain", href: address, download: "" }, h("span", { text: words }), h("small", { text: hint }));

/** @param {Ctx} ctx */
function draw(ctx) {
  const base = `/takeout/${ctx.kit.patient.id}`;
  const out = [
    file(`${base}/record.zip`, t("As tables (CSV)"), t("One file for each kind of thing, packed together")),
    file(`${base}/record.json`, t("As one text (JSON)"), t("Everything, for other programs")),
  ];
  const paper = [
    file(
      `${base}/flow-sheet.pdf`,
      t("Paper sheet with your prescription"),
      t("With each step and the emergency cards, PDF"),
    ),
    file(`${base}/wall-sheet.pdf`, t("Emergency cards for the wall"), t("To hang beside the machine, PDF")),
    file(`${base}/flow-sheet.pdf?blank=1`, t("Blank paper sheet"), t("With each step and the emergency cards, PDF")),
  ];
  return [
    !ctx.online() && note(t("These files come from the unit: they need the network."), "care"),
    h("h2", { text: t("Your whole record") }),
    h("p", {
      text: t(
        "Every treatment with its readings, events, medicines and checks, your bloods, prescriptions and " +
          "messages. Whoever has the file can read it: keep it safe.",
      ),
    }),
    out,
    h("h2", { text: t("Paper") }),
    h("p", { text: t("Print a sheet now and keep it beside the machine, for the night on which the phone fails.") }),
    paper,
  ];
}

register("takeout", {
  title: () => t("Paper and own data"),
  draw,
  bar: () => [
    { label: t("Enter a night from paper"), go: "paper" },
    { label: t("Tonight"), go: "tonight" },
  ],
});
