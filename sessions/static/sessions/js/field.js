/* One field of the record: takes what is typed, refuses the impossible, asks once more about the unusual. */

import { fromWall, nowMinute, toWall } from "./clock.js";
import { oddity, parseNumber, refusal } from "./numbers.js";

/** An element from its tag, properties and children. */
export function make(tag, properties = {}, ...children) {
  const element = Object.assign(document.createElement(tag), properties);
  element.append(...children);
  return element;
}

export function button(words, className, act) {
  const element = make("button", { type: "button", className, textContent: words });
  element.addEventListener("click", act);
  return element;
}

export const noteOf = (input) => document.getElementById(`${input.id}-note`);

/** Put an error, or nothing, at a field: seen, announced, and bound to the field. */
export function showError(input, message) {
  delete input.dataset.fault;
  if (message) input.setAttribute("aria-invalid", "true");
  else input.removeAttribute("aria-invalid");
  noteOf(input).replaceChildren(...(message ? [make("p", { className: "error", textContent: message })] : []));
}

/** The same for something the unit's server refused: other than a slip of typing it holds nothing up. */
export function showFault(input, message) {
  showError(input, message);
  input.dataset.fault = "";
}

/** Ask about an unusual number; `settle(true)` when it is right. */
function askOnce(input, question, settle) {
  const yes = button("Yes, it is right", "button plain", () => {
    settle();
    input.focus();
  });
  const change = button("Change it", "button plain", () => {
    input.focus();
    input.select();
  });
  yes.setAttribute("aria-describedby", `${input.id}-question`);
  const words = make("p", { className: "question", id: `${input.id}-question`, textContent: question });
  noteOf(input).replaceChildren(words, make("div", { className: "button-row" }, yes, change));
}

/** What is wrong or odd with a typed text -> {number}, {error}, or {number, question}. */
export function judge(text, limits) {
  const { number, wrong } = parseNumber(text);
  if (wrong) return { error: `${limits.label}: “${wrong}” is no number. Write figures only, such as 72.5.` };
  if (number === undefined) return { number: null };
  const error = refusal(limits, number);
  return error ? { error } : { number, question: oddity(limits, number) };
}

/**
 * Bind a number field to its slot: {limits, read, write, refused, refuse, isConfirmed, confirm}.
 * A number that is refused stays in the field and in the draft as text, and is never sent.
 */
export function bindNumber(input, slot, changed) {
  const take = () => {
    const { number, error } = judge(input.value, slot.limits);
    slot.refuse(error ? input.value : null);
    slot.write(error ? null : number);
    slot.confirm(false);
  };
  const tell = () => {
    const { error, question } = judge(input.value, slot.limits);
    showError(input, error ?? "");
    if (question && !slot.isConfirmed()) {
      askOnce(input, question, () => {
        slot.confirm(true);
        changed();
        tell();
      });
    }
  };
  input.value = slot.refused() ?? slot.read() ?? "";
  tell();
  input.addEventListener("input", () => {
    take();
    changed();
  });
  input.addEventListener("change", tell);
}

/** Bind a field of date and time on the patient's wall clock: slot {zone, read, write}. */
export function bindTime(input, slot, changed) {
  const show = () => {
    const iso = slot.read();
    input.value = iso ? toWall(iso, slot.zone) : "";
  };
  show();
  input.addEventListener("change", () => {
    slot.write(input.value ? fromWall(input.value, slot.zone) : null);
    showError(input, "");
    changed();
  });
  for (const now of document.querySelectorAll(`[data-now="${input.id}"]`)) {
    now.addEventListener("click", () => {
      slot.write(nowMinute());
      show();
      showError(input, "");
      changed();
    });
  }
}

/** The key for the sign beside a number field. */
export function bindSigns() {
  for (const key of document.querySelectorAll("[data-sign]")) {
    const input = document.getElementById(key.dataset.sign);
    key.addEventListener("click", () => {
      input.value = /^[-−]/.test(input.value) ? input.value.slice(1) : `-${input.value}`;
      for (const kind of ["input", "change"]) input.dispatchEvent(new Event(kind, { bubbles: true }));
      input.focus();
    });
  }
}

/** Bind a text field: slot {read, write}. */
export function bindText(input, slot, changed) {
  input.value = slot.read() ?? "";
  input.addEventListener("input", () => {
    slot.write(input.value);
    changed();
  });
}
