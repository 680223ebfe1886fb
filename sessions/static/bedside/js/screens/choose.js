/* A care partner of several patients says whose night it is. */

import { ctx as app } from "../app.js";
import { register } from "../router.js";
import { bigButton, h } from "../ui.js";
import { t } from "../words.js";

register("choose", {
  title: () => t("Whose night is it?"),
  draw: () => {
    if (!app.patients.length)
      return h("p", { text: t("There is no patient whose record you may write. Ask the unit.") });
    return [
      h("p", { class: "soft", text: t("What you enter goes into this person's record. It says that you entered it.") }),
      app.patients.map(({ id, name }) => bigButton(name, () => app.choose(id), { data: { k: id } })),
    ];
  },
});
