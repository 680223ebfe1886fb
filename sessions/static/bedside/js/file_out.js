/* An entry as a file of its own, made on the phone: for when it cannot reach the unit by itself. */

import { h } from "./ui.js";

/**
 * Hand a file to the person: by the sheet for sharing on Apple's phones, where a page kept on the home screen saves
 * none, else as a download. @param {string} name @param {any} data what JSON can say
 */
export async function takeOut(name, data) {
  const file = new File([JSON.stringify(data, null, 1)], name, { type: "application/json" });
  if ("standalone" in navigator && navigator.canShare?.({ files: [file] }))
    return navigator.share({ files: [file] }).catch(() => {});
  const href = URL.createObjectURL(file);
  const link = h("a", { href, download: name, hidden: true });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(href), 60_000);
}
