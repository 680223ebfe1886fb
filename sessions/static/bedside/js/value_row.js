/* A value with its last one in sight: same, a step down or up, or typed. Nothing is taken over without a touch. */

import { confirmPath, getPath, limitsAt, rowOf, writeNumber } from "./draft.js";
import { inWords, keptOf, oddity, refusal, stepped, toldOf, unitOf } from "./numbers.js";
import { askNumber } from "./pad.js";
import { bigButton, h, note, toast } from "./ui.js";
import { fmt, t } from "./words.js";

const key = (name, label, spoken, act, names = "") =>
  h(
    "button",
    { type: "button", class: `vkey ${names}`, aria: { label: spoken }, data: { k: name }, on: { click: act } },
    label,
  );

function keysOf(row, put, type) {
  const { name, label, limits, value, last, isOrdered } = row;
  const from = value ?? last;
  if (from == null) return [key(`${name}-type`, t("Enter"), t("{label}: enter", { label }), type, "wide")];
  const step = (count) => () => put(keptOf(limits, stepped(toldOf(limits, from), limits.step ?? 1, count)));
  const [words, unit] = [inWords(limits, from), unitOf(limits)];
  const figure = (sign) => h("span", null, sign + fmt(toldOf(limits, from)), unit && h("small", { text: unit }));
  const middle =
    value == null
      ? key(
          `${name}-mid`,
          figure("= "),
          isOrdered
            ? t("{label}: as prescribed, {value}", { label, value: words })
            : t("{label}: same as last, {value}", { label, value: words }),
          () => put(from),
          "same",
        )
      : key(`${name}-mid`, figure(""), t("{label}: {value}, change", { label, value: words }), type, "given");
  return [
    key(`${name}-down`, "−", t("{label}: step down", { label }), step(-1)),
    middle,
    key(`${name}-up`, "+", t("{label}: step up", { label }), step(1)),
  ];
}

/**
 * {name, label, short?, limits, value, last, isOrdered?, lastWords, confirmed, write(value, asked), confirm()} -> Node.
 * isOrdered: that `last` is what is ordered; `asked` says that the pad has already asked about an unusual value.
 * unasked: nobody is asked whether a low one is right.
 */
export function valueRow(row) {
  const { name, label, limits, value, lastWords } = row;
  const put = (number) => {
    const refused = refusal(limits, number);
    if (refused) toast(refused);
    else row.write(number, false);
  };
  const type = async () => {
    const given = await askNumber({
      label,
      limits: row.unasked ? { ...limits, usual: [limits.hard[0], limits.usual[1]] } : limits,
      value,
      last: row.isOrdered ? null : row.last,
      allowSame: row.last != null,
      aside: row.isOrdered ? row.lastWords : "",
    });
    if (given !== undefined) row.write(given, !(row.unasked && given != null && given < limits.usual[0]));
  };
  const spared = row.unasked && value < limits.usual[0];
  const odd = value != null && !row.confirmed && !spared && oddity(limits, value);
  return h(
    "div",
    { class: `value-row${value == null ? "" : " filled"}`, role: "group", aria: { label } },
    h(
      "button",
      {
        type: "button",
        class: "value-name",
        data: { k: name },
        aria: { label: t("{label}: type a number", { label }) },
        on: { click: type },
      },
      h("span", { text: row.short ?? label }),
      lastWords && h("small", { text: lastWords }),
    ),
    h("div", { class: "vkeys" }, keysOf(row, put, type)),
    odd && note(odd, "care", bigButton(t("Yes, it is right"), row.confirm, { data: { k: `${name}-yes` } })),
  );
}

/**
 * A value row for a path that stands in the document already.
 * @param {Ctx} ctx @param {string} path @param {{label?: string, last?: number | null, lastWords?: string}} [looks]
 */
export function fieldRow(ctx, path, { label, last = null, lastWords = "" } = {}) {
  const limits = limitsAt(ctx.kit, rowOf(ctx.night, path), path) ?? {
    label: label ?? path,
    unit: "",
    hard: [-1e9, 1e9],
    usual: [-1e9, 1e9],
    step: 1,
  };
  const words = label ?? t(limits.label);
  const said = (value) => t("{label}: {value}", { label: words, value: value == null ? "–" : inWords(limits, value) });
  return valueRow({
    name: path,
    label: words,
    limits,
    value: getPath(ctx.night, path),
    last,
    lastWords,
    confirmed: ctx.night.doc.confirmed.includes(path),
    write: (value, asked) => ctx.change(said(value), (night) => writeNumber(night, path, value, limits, asked)),
    confirm: () => ctx.change(t("{label} confirmed", { label: words }), (night) => confirmPath(night, path)),
  });
}
