/*
 * A time that can be moved by large buttons: hours, tens of minutes, minutes; or typed in figures on the number pad. No
 * system keyboard, no wheel to drag.
 */

import { atClock, later } from "./clock.js";
import { reorder, setRow } from "./draft.js";
import { layOver } from "./over.js";
import { askNumber } from "./pad.js";
import { addressOf } from "./router.js";
import { bigButton, h } from "./ui.js";
import { dayOf, t, timeOf, tn, zoneName } from "./words.js";

const STEPS = [
  [-60, "−1 h"],
  [-10, "−10"],
  [-1, "−1"],
  [1, "+1"],
  [10, "+10"],
  [60, "+1 h"],
];
/** While a time is being moved; lives through a redraw. @type {{name: string, iso: Iso} | null} */
let opened = null;
let lift = () => {};

/** A clock time in four figures, the one next to what stands. @param {Iso} iso @returns {Promise<Iso | null>} */
async function typedTime(iso) {
  const refuse = (given) =>
    atClock(iso, given, zoneName())
      ? ""
      : t("A time goes from 0000 to 2359, its minutes to 59; {given} was given.", { given });
  const label = t("Time in four figures, such as 2130");
  const given = await askNumber({ label, limits: { label, hard: [0, 9999], usual: [0, 9999], step: 1, refuse } });
  return typeof given === "number" ? atClock(iso, given, zoneName()) : null;
}

/** @param {{name: string, iso: Iso}} moving */
function mover(moving, onPick, paint) {
  const shown = () => `${dayOf(moving.iso)}, ${timeOf(moving.iso)}`;
  const clock = h("output", { class: "figure", text: shown() });
  const show = (iso) => {
    moving.iso = iso;
    clock.textContent = shown();
  };
  const shift = (minutes) => () => show(later(moving.iso, minutes));
  const type = async () => show((await typedTime(moving.iso)) ?? moving.iso);
  const spoken = (minutes) =>
    minutes > 0
      ? tn("{n} minute later", "{n} minutes later", minutes)
      : tn("{n} minute earlier", "{n} minutes earlier", -minutes);
  const keys = STEPS.map(([minutes, label]) =>
    h(
      "button",
      { type: "button", class: "vkey", aria: { label: spoken(minutes) }, on: { click: shift(minutes) } },
      label,
    ),
  );
  const close = (pick) => () => {
    opened = null;
    lift();
    paint();
    if (pick) onPick(moving.iso);
  };
  return [
    clock,
    h("div", { class: "vkeys three" }, keys),
    bigButton(t("Type the time"), type, { data: { k: `${moving.name}-type` } }),
    bigButton(t("Use this time"), close(true), { tone: "go", data: { k: `${moving.name}-use` } }),
    bigButton(t("Leave it"), close(false)),
  ];
}

/**
 * label, ISO time -> Node; onPick(iso) when another time was chosen. `name` tells rows of a screen apart.
 * @param {Iso} iso
 */
export function momentRow(name, label, iso, onPick) {
  const box = h("div", { class: "moment", role: "group", aria: { label } });
  const paint = () => {
    const open = () => {
      opened = { name, iso };
      lift();
      lift = layOver(() => {
        opened = null;
        paint();
      });
      paint();
    };
    const shut = () => [
      bigButton(t("{label}: {time}", { label, time: timeOf(iso) }), open, {
        hint: t("Touch to change"),
        data: { k: `${name}-open` },
      }),
    ];
    box.replaceChildren(...(opened && opened.name === name ? mover(opened, onPick, paint) : shut()));
  };
  paint();
  return box;
}

/** Move a timed row to another moment -> where order of time puts it. @param {Night} night @param {Iso} iso */
export function retime(night, list, index, iso) {
  const row = night.doc[list][index];
  setRow(night, list, index, { at: iso });
  reorder(night, list);
  return night.doc[list].indexOf(row);
}

/**
 * Let the address follow a row without a fresh screen, so that undo stays in sight; a killed page comes back to it.
 * @param {Ctx} ctx
 */
export function pointTo(ctx, name, ...params) {
  history.replaceState(history.state, "", addressOf(name, ...params));
  ctx.night.screen = location.hash;
}
