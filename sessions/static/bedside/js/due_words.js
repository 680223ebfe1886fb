/* What is due in a line. Pure. */

import { t, tn } from "./words.js";

const names = (items) => items.map((item) => item.label).join(", ");

/** The overdue by name, then what is only coming. @param {any[]} items */
export function dueWords(items) {
  const [late, coming] = [items.filter((item) => item.overdue), items.filter((item) => !item.overdue)];
  return [
    late.length && `${tn("{n} overdue", "{n} overdue", late.length)}: ${names(late)}`,
    coming.length && (late.length ? t("coming: {what}", { what: names(coming) }) : names(coming)),
  ]
    .filter(Boolean)
    .join(" · ");
}
