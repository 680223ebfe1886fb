/* The own number pad: large keys, the language's decimal key, the last value in sight and never taken over unseen. */

import { getPath, limitsAt, rowOf, takeNumber } from "./draft.js";
import {
  decimalsOf,
  inWords,
  keptOf,
  meant,
  oddity,
  parseNumber,
  refusal,
  stepped,
  toldOf,
  unitOf,
  withUnit,
} from "./numbers.js";
import { layOver } from "./over.js";
import { bigButton, h } from "./ui.js";
import { decimalSign, fmt, t } from "./words.js";

/** @type {Limits} */
const OPEN_END = { label: "", unit: "", hard: [-1e9, 1e9], usual: [-1e9, 1e9], step: 1 };

/**
 * Ask for a number -> the number, null when cleared, undefined when left. Outside `hard` it is refused with the words,
 * outside `usual` asked once more: a number that comes back from there was confirmed (takeNumber notes it).
 * limits: {label, unit, hard, usual, step}; last is shown, and taken only by the key "Same as last" where allowSame;
 * aside: words that have to be in sight beside the number.
 * @param {{label?: string, unit?: string, limits?: Partial<Limits>, value?: number | null, last?: number | null,
 *   allowSame?: boolean, aside?: string}} asked
 * @returns {Promise<number | null | undefined>}
 */
export function askNumber({ label, unit, limits, value = null, last = null, allowSame = true, aside = "" }) {
  /** @type {Limits} */
  const bounds = { ...OPEN_END, ...limits, ...(label && !limits?.label ? { label } : {}) };
  return new Promise((resolve) =>
    new Pad({
      label: label ?? t(bounds.label),
      unit: unit ?? unitOf(bounds),
      bounds,
      value,
      last,
      allowSame,
      aside,
      resolve,
    }).show(),
  );
}

/**
 * Figures that were typed and not taken when the way back closed the pad: the same pad on the same screen has them.
 * @type {{label: string, value: number | null, place: string, text: string} | null}
 */
let untaken = null;

class Pad {
  /**
   * @param {{label: string, unit: string, bounds: Limits, value: number | null, last: number | null,
   *   allowSame: boolean, aside: string, resolve: (number: number | null | undefined) => void}} options
   */
  constructor({ label, unit, bounds, value, last, allowSame, aside, resolve }) {
    this.label = label;
    this.unit = unit;
    this.bounds = bounds;
    this.last = toldOf(bounds, last);
    this.allowSame = allowSame;
    this.aside = aside;
    this.resolve = resolve;
    this.value = value;
    this.place = location.hash;
    this.lift = () => {};
    this.text = value == null ? "" : fmt(toldOf(bounds, value));
    this.fresh = true;
    this.asked = "";
    this.step = bounds.step ?? 1;
    this.output = h("output", { class: "figure", aria: { live: "polite", label } });
    this.problem = h("p", { class: "problem", role: "alert" });
    this.keys = h("div", { class: "pad-keys" }, this.keyRows().filter(Boolean));
    this.ask = h("div", { class: "ask" });
    this.dialog = h("dialog", { class: "pad", aria: { labelledby: "pad-title" } });
  }

  show() {
    const title = h("h2", { id: "pad-title", text: this.label });
    const head = h(
      "div",
      { class: "pad-head" },
      title,
      h("p", { class: "value" }, this.output, h("span", { class: "unit", text: this.unit })),
      this.aside ? h("p", { class: "aside", text: this.aside }) : null,
      this.lastRow(),
      this.problem,
    );
    this.dialog.addEventListener("cancel", (event) => {
      event.preventDefault();
      this.wayBack();
    });
    this.dialog.addEventListener("close", () => this.wayBack()); // by a browser that asks nobody
    this.lift = layOver(() => this.wayBack());
    this.dialog.addEventListener("keydown", (event) => this.typed(event));
    this.dialog.append(head, this.ask, this.keys);
    document.body.append(this.dialog);
    this.dialog.showModal();
    this.focusEnter();
    this.render();
    this.takeUp();
  }

  /** What was typed before the way back was touched stands here again, still to be taken. */
  takeUp() {
    const { label, value, place, text } = untaken ?? {};
    untaken = null;
    if (label !== this.label || value !== this.value || place !== location.hash) return;
    this.take(text);
    this.problem.textContent = t("Typed before, and not taken yet.");
  }

  wayBack() {
    if (!this.dialog.isConnected) return;
    if (!this.fresh && this.text)
      untaken = { label: this.label, value: this.value, place: this.place, text: this.text };
    this.close(undefined);
  }

  focusEnter() {
    /** @type {HTMLElement | null} */ (this.keys.querySelector(".enter"))?.focus();
  }

  lastRow() {
    if (this.last == null) return null;
    const words = t("Last: {value}", { value: withUnit(this.last, this.unit) });
    if (!this.allowSame) return h("p", { class: "last", text: words });
    return h(
      "div",
      { class: "last" },
      h("p", { text: words }),
      bigButton(t("Same as last"), () => this.take(fmt(this.last)), {
        aria: { label: t("Same as last: {value}", { value: withUnit(this.last, this.unit) }) },
      }),
    );
  }

  key(text, act, name, label) {
    return h("button", { type: "button", class: `pad-key ${name ?? ""}`, aria: { label }, text, on: { click: act } });
  }

  keyRows() {
    const digits = [7, 8, 9, 4, 5, 6, 1, 2, 3].map((digit) => this.key(fmt(digit), () => this.add(String(digit))));
    const decimal = this.key(decimalSign(), () => this.add(decimalSign()), "", t("Decimal sign"));
    const sign = this.bounds.hard[0] < 0 ? this.key("±", () => this.flip(), "", t("Plus or minus")) : null;
    const erase = this.key("⌫", () => this.erase(), "", t("Delete the last figure"));
    const steps = [
      this.key("−", () => this.move(-1), "step", t("One step down")),
      this.key("+", () => this.move(1), "step", t("One step up")),
    ];
    return [
      ...digits,
      decimal,
      this.key(fmt(0), () => this.add("0")),
      erase,
      ...steps,
      sign,
      this.key("C", () => this.take(""), "", t("Clear")),
      this.key(t("Leave"), () => this.close(undefined), "leave"),
      this.key(t("Take it"), () => this.done(), sign ? "enter" : "enter wide"),
    ];
  }

  render() {
    this.output.textContent = this.text || "–";
    this.problem.textContent = "";
    this.ask.replaceChildren();
    this.keys.hidden = false;
    this.asked = "";
  }

  take(text) {
    this.text = text;
    this.fresh = false;
    this.render();
  }

  /** The first figure takes the place of the value that stood; a second decimal sign does nothing. */
  add(sign) {
    const before = this.fresh ? "" : this.text;
    if (sign === decimalSign() && before.includes(sign)) return;
    if (before.replace(/\D/g, "").length < 7)
      this.take(before === "0" && sign !== decimalSign() ? sign : before + sign);
  }

  erase() {
    this.take(this.text.slice(0, -1));
  }

  flip() {
    this.take(this.text.startsWith("−") ? this.text.slice(1) : `−${this.text}`);
  }

  move(count) {
    const { number } = this.parsed();
    const from = number ?? this.last;
    if (from != null) this.take(fmt(number == null ? from : stepped(from, this.step, count), decimalsOf(this.step)));
  }

  parsed() {
    return parseNumber(this.text.replace(decimalSign(), "."));
  }

  typed(event) {
    if (event.ctrlKey || event.metaKey || event.altKey || this.asked) return;
    const acts = {
      Backspace: () => this.erase(),
      Delete: () => this.take(""),
      "-": () => this.flip(),
      ArrowUp: () => this.move(1),
      ArrowDown: () => this.move(-1),
    };
    const act = /^\d$/.test(event.key)
      ? () => this.add(event.key)
      : /^[.,]$/.test(event.key)
        ? () => this.add(decimalSign())
        : acts[event.key];
    const enters = event.key === "Enter" && !event.target.matches("button:not(.enter)");
    if (!act && !enters) return;
    event.preventDefault();
    (act ?? (() => this.done()))();
  }

  done() {
    const { number: typed, wrong } = this.parsed();
    if (wrong !== undefined) return this.say(t("“{text}” is no number.", { text: wrong }));
    if (typed === undefined) return this.close(null);
    const number = typed === toldOf(this.bounds, this.value) ? this.value : keptOf(this.bounds, typed);
    const other = meant(this.bounds, number);
    if (other !== null) return this.slip(number, other);
    const why = refusal(this.bounds, number);
    if (why) return this.say(why);
    const question = oddity(this.bounds, number);
    return question ? this.question(question, number) : this.close(number);
  }

  /** Litres and millilitres mixed up: what was meant is offered, and taken only by a touch. */
  slip(number, other) {
    const typed = withUnit(number, this.unit);
    const words = t("{value} was typed. Was {other} meant?", { value: typed, other: withUnit(other, this.unit) });
    this.question(words, other, t("Yes: {value}", { value: withUnit(other, this.unit) }));
    if (refusal(this.bounds, number)) return;
    const as = bigButton(t("No: {value}", { value: typed }), () => this.close(number), { data: { k: "as-typed" } });
    this.ask.append(as);
  }

  say(words) {
    this.problem.textContent = words;
    this.fresh = true;
  }

  question(words, number, take = t("Yes, it is right")) {
    this.asked = words;
    this.keys.hidden = true;
    const yes = bigButton(take, () => this.close(number), { tone: "go" });
    const change = bigButton(t("Change it"), () => {
      this.fresh = true;
      this.render();
      this.focusEnter();
    });
    this.ask.replaceChildren(h("p", { role: "alert", text: words }), yes, change);
    change.focus();
  }

  close(result) {
    this.lift();
    this.dialog.close();
    this.dialog.remove();
    this.resolve(result);
  }
}

/**
 * A row to touch: label, value with unit or “not yet”; opens the pad and writes `path` of the night through ctx.change.
 * @param {Ctx} ctx @param {string} path
 * @param {{label?: string, limits?: Limits, last?: number | null, allowSame?: boolean, unit?: string, aside?: string}}
 * [looks]
 */
export function numberField(
  ctx,
  path,
  {
    label,
    limits = limitsAt(ctx.kit, rowOf(ctx.night, path), path),
    last = null,
    allowSame = true,
    unit,
    aside = "",
  } = {},
) {
  const value = getPath(ctx.night, path) ?? null;
  const name = label ?? t(limits?.label ?? path);
  const words = (number) => (unit ? withUnit(number, unit) : inWords(limits, number));
  const fault = ctx.night.faults.find((each) => each.field === path);
  const open = async () => {
    const answer = await askNumber({ label: name, unit, limits, value, last, allowSame, aside });
    if (answer === undefined || answer === value) return;
    ctx.change(
      t("{field}: {value}", {
        field: name,
        value: answer === null ? t("not yet") : words(answer),
      }),
      (night) => {
        takeNumber(night, path, answer, limits);
        night.faults = night.faults.filter((each) => each.field !== path);
      },
    );
  };
  const shown = value === null ? h("span", { class: "unset", text: t("not yet") }) : h("b", { text: words(value) });
  const beside = aside && h("small", { text: aside });
  const before = last != null && h("small", { text: t("Last: {value}", { value: words(last) }) });
  return h(
    "button",
    { type: "button", class: `field${fault ? " wrong" : ""}`, data: { k: path, path }, on: { click: open } },
    h("span", { class: "label" }, name, before, beside),
    shown,
    fault && h("span", { class: "problem", text: fault.message }),
  );
}
