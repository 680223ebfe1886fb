/* Address and door, to be read out to whoever answers an emergency call. They stay on this phone. */

import { forgetHome } from "../danger.js";
import { back, register } from "../router.js";
import { h, note } from "../ui.js";
import * as vault from "../vault.js";
import { t } from "../words.js";

const LONGEST = 200;
const kept = { address: "", door: "" };

function draw() {
  vault.getOpen("home")?.then((found) => {
    for (const [name, text] of Object.entries(found ?? {})) {
      kept[name] = text;
      const field = /** @type {HTMLTextAreaElement | null} */ (document.getElementById(`home-${name}`));
      if (field && document.activeElement !== field) field.value = text;
    }
  });
  return [
    note(t("It can be read on this phone while it is locked, by whoever helps you. It stays on this phone.")),
    field("address", t("Address, with floor and what to ring")),
    field("door", t("How the door opens, and who has a key")),
  ];
}

function field(name, label) {
  const area = h("textarea", { id: `home-${name}`, rows: 3, maxlength: LONGEST });
  area.value = kept[name];
  area.addEventListener("input", () => {
    kept[name] = area.value.trim();
    vault.putOpen("home", { ...kept });
    forgetHome();
  });
  return h("div", { class: "words" }, h("label", { for: area.id, text: label }), area);
}

register("home", { title: () => t("Address and door"), draw, bar: () => [{ label: t("Done"), tap: back }] });
