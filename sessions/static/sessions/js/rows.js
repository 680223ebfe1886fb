/* A list in the record (readings, events, medicines): one form to add or change a row, and the rows below it. */

import { clockTime, fromWall, nowMinute, toWall } from "./clock.js";
import { inOrder } from "./draft.js";
import { button, judge, make, noteOf, showError } from "./field.js";

/**
 * context: {page, draft, changed}. parts: {list, limits(name), words(row) -> text, ready(values) -> error or ""}.
 * The form carries data-row-form="<list>", its fields data-name; the rows go into data-rows="<list>".
 */
export class RowList {
  constructor(context, parts) {
    Object.assign(this, context, parts);
    this.form = document.querySelector(`[data-row-form="${this.list}"]`);
    this.shown = document.querySelector(`[data-rows="${this.list}"]`);
    this.said = document.querySelector(`[data-rows-said="${this.list}"]`);
    this.fields = [...this.form.querySelectorAll("[data-name]")];
    this.form.addEventListener("submit", (event) => this.save(event));
    this.form.addEventListener("input", () => this.rememberHalfWritten());
    this.form.querySelector("[data-row-cancel]").addEventListener("click", () => this.close());
    this.form.querySelector("[data-row-remove]").addEventListener("click", () => this.remove(this.draft.editing.key));
    document.querySelector(`[data-row-add="${this.list}"]`)?.addEventListener("click", () => this.open());
    this.render();
    if (this.draft.editing?.list === this.list) this.show();
  }

  get rows() {
    return this.draft.rows[this.list];
  }

  row(key) {
    return this.rows.find((each) => each.key === key);
  }

  /** Open the form: empty with the present minute, with a row, or with values to start from. */
  open(key = null, start = {}) {
    const values = key ? this.row(key).values : { at: nowMinute(), ...start };
    const texts = Object.fromEntries(this.fields.map((field) => [field.dataset.name, this.asText(field, values)]));
    this.draft.editing = { list: this.list, key, texts, start };
    this.changed();
    this.show();
    this.form.querySelector("[data-first]").focus();
  }

  asText(field, values) {
    const value = values[field.dataset.name];
    if (value === null || value === undefined) return "";
    return field.dataset.name === "at" ? toWall(value, this.page.zone) : String(value);
  }

  show() {
    const { key, texts } = this.draft.editing;
    for (const field of this.fields) {
      field.value = texts[field.dataset.name] ?? "";
      showError(field, "");
      this.showLast(field);
    }
    this.form.querySelector("[data-row-remove]").hidden = !key;
    this.form.querySelector("[data-row-odd]").replaceChildren();
    this.form.hidden = false;
    this.onShow?.(key ? this.row(key).values : this.draft.editing.start);
    this.showFaults(key);
  }

  /** The last value stands beside each field, to compare with; it is never taken over by itself. */
  showLast(field) {
    const hint = document.getElementById(`${field.id}-last`);
    if (!hint) return;
    const name = field.dataset.name;
    const before = inOrder(this.rows).filter((row) => row.key !== this.draft.editing.key && row.values[name] != null);
    const last = before.at(-1)?.values[name] ?? this.page.last.reading?.[name];
    hint.textContent = last == null ? "" : before.length ? `last ${last}` : `last night ${last}`;
  }

  showFaults(key) {
    for (const { place, message } of this.faults?.() ?? []) {
      if (place.list !== this.list || place.key !== key || !key) continue;
      const field = this.fields.find((each) => each.dataset.name === place.name);
      if (field) showError(field, message);
    }
  }

  rememberHalfWritten() {
    const texts = Object.fromEntries(this.fields.map((field) => [field.dataset.name, field.value]));
    this.draft.editing = { ...this.draft.editing, list: this.list, texts };
    this.form.querySelector("[data-row-odd]").replaceChildren();
    this.changed();
  }

  /** Read the form -> {values, odd: [names], firstWrong: element or undefined}; errors are put at their fields. */
  read() {
    const { key, start } = this.draft.editing;
    const values = { ...(key ? this.row(key).values : start) };
    const odd = [];
    let firstWrong;
    for (const field of this.fields) {
      const { value, error, question } = this.readField(field);
      showError(field, error ?? "");
      if (error) firstWrong ??= field;
      if (question) odd.push({ name: field.dataset.name, field, question });
      values[field.dataset.name] = value;
    }
    return { values, odd, firstWrong };
  }

  readField(field) {
    const name = field.dataset.name;
    if (name === "at") return this.readTime(field);
    const limits = this.limits(name);
    if (!limits) return { value: field.value.trim() };
    const { number, error, question } = judge(field.value, limits);
    return { value: number ?? null, error, question };
  }

  readTime(field) {
    const value = field.value ? fromWall(field.value, this.page.zone) : null;
    if (!value) return { value, error: "Write the date and time." };
    const { key } = this.draft.editing;
    const taken = this.onceATime && this.rows.some((row) => row.key !== key && Date.parse(row.values.at) === Date.parse(value));
    return taken ? { value, error: `There is one at ${clockTime(value, this.page.zone)} already: change that one.` } : { value };
  }

  save(event) {
    event.preventDefault();
    const { values, odd, firstWrong } = this.read();
    const missing = firstWrong ? "" : this.ready(values);
    if (missing) showError(this.form.querySelector("[data-first]"), missing);
    if (firstWrong || missing) {
      (firstWrong ?? this.form.querySelector("[data-first]")).focus();
      return;
    }
    const confirmed = this.row(this.draft.editing.key)?.confirmed ?? [];
    const unasked = odd.filter(({ name }) => !confirmed.includes(name) || this.differs(name, values));
    if (unasked.length) this.ask(values, odd, unasked);
    else this.put(values, odd.map(({ name }) => name));
  }

  differs(name, values) {
    return this.row(this.draft.editing.key)?.values[name] !== values[name];
  }

  /** Ask once about all unusual numbers of the row together: one more touch, not one for each. */
  ask(values, odd, unasked) {
    for (const { field, question } of unasked) {
      noteOf(field).replaceChildren(make("p", { className: "question", textContent: question }));
    }
    const names = odd.map(({ name }) => name);
    const words = unasked.length === 1 ? "One number is unusual." : `${unasked.length} numbers are unusual.`;
    const yes = button("Right as it is: keep it", "button bedside", () => this.put(values, names));
    const change = button("Change it", "button plain bedside", () => unasked[0].field.focus());
    const row = make("div", { className: "button-row" }, yes, change);
    const box = make("div", { className: "notice caution" }, make("p", { textContent: `${words} Look at it once more.` }), row);
    this.form.querySelector("[data-row-odd]").replaceChildren(box);
    yes.focus();
  }

  put(values, confirmed) {
    const { key } = this.draft.editing;
    const row = this.row(key);
    if (row) Object.assign(row, { values, confirmed });
    else this.rows.push({ key: crypto.randomUUID(), values, confirmed });
    this.dropFaults(key);
    this.say("Kept.");
    this.close();
  }

  dropFaults(key) {
    if (key && this.faults?.().some(({ place }) => place.key === key)) this.forgetFaults(key);
  }

  remove(key) {
    const row = this.row(key);
    this.draft.rows[this.list] = this.rows.filter((each) => each !== row);
    this.close();
    const undo = button("Undo", "link-button", () => {
      this.rows.push(row);
      this.changed();
      this.render();
      this.say("It is back.");
    });
    this.say(`Removed: ${clockTime(row.values.at, this.page.zone)}. `, undo);
  }

  say(...words) {
    this.said.replaceChildren(...words);
  }

  close() {
    this.draft.editing = null;
    this.form.hidden = true;
    this.changed();
    this.render();
    document.querySelector(`[data-row-add="${this.list}"]`)?.focus();
  }

  render() {
    this.shown.replaceChildren(...inOrder(this.rows).map((row) => this.item(row)));
  }

  item(row) {
    const time = make("b", { className: "tabular", textContent: clockTime(row.values.at, this.page.zone) });
    const words = make("span", { className: "row-words" }, ...this.words(row));
    const open = button("Change", "button plain", () => this.open(row.key));
    open.append(make("span", { className: "visually-hidden", textContent: ` the one at ${time.textContent}` }));
    const faults = (this.faults?.() ?? []).filter(({ place }) => place.list === this.list && place.key === row.key);
    const told = faults.map(({ message }) => make("p", { className: "error", textContent: message }));
    const item = make("li", { id: `row-${row.key}`, tabIndex: -1 }, time, open, words, ...told);
    item.classList.toggle("has-error", told.length > 0);
    return item;
  }
}
