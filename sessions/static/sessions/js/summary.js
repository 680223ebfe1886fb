/* What stands in the way of handing over, what is empty, and what the unit's server refused. */

import { placeOf } from "./draft.js";
import { make, noteOf } from "./field.js";
import { goTo } from "./sections.js";

const WANTED = {
  pre_weight_kg: "weight before", pre_systolic: "blood pressure before", post_weight_kg: "weight after",
  post_systolic: "blood pressure after", uf_removed_l: "fluid removed (UF)",
};

/** Faults the server told, each with its place on the page. */
export function placedFaults(draft) {
  return draft.faults.map(({ field, message }) => ({ message, field, place: placeOf(field, draft) }));
}

/** The element of the page where a fault belongs: a field or a row; undefined when there is none. */
export function elementOf({ list, key, name }) {
  if (list === "sites") return document.getElementById(`sites-${key}-${name}`);
  if (key) return document.getElementById(`row-${key}`);
  return document.getElementById(name) ?? undefined;
}

function blocking(draft) {
  const found = [];
  for (const [name, words] of [["started_at", "The start of the treatment"], ["ended_at", "The end of the treatment"]]) {
    if (!draft.facts[name]) found.push({ message: `${words} is missing.`, element: document.getElementById(name) });
  }
  for (const input of document.querySelectorAll("[aria-invalid=true]:not([data-fault])")) {
    if (input.closest("[data-row-form]")) continue;
    found.push({ message: noteOf(input).textContent, element: input });
  }
  if (draft.editing) {
    const form = document.querySelector(`[data-row-form="${draft.editing.list}"]`);
    found.push({ message: "One entry is half written: keep it or leave it.", element: form.querySelector("[data-first]") });
  }
  return found;
}

function unasked() {
  const questions = [...document.querySelectorAll("p.question[id$='-question']")];
  return questions.map((question) => ({
    message: question.textContent, element: document.getElementById(question.id.replace(/-question$/, "")),
  }));
}

/** What the server refused. It may be settled by a change elsewhere, so it holds nothing up: sending again tells. */
function refusedByUnit(draft) {
  return placedFaults(draft).map(({ field, message, place }) => {
    const element = elementOf(place);
    return { message: element ? message : `${field}: ${message}`, element };
  });
}

/** What must be settled before the record can go -> list of {message, element}. */
export function openQuestions(draft) {
  return [...blocking(draft), ...unasked()];
}

function entry({ message, element }) {
  if (!element) return make("li", { textContent: message });
  const link = make("a", { href: `#${element.id}`, textContent: message });
  link.addEventListener("click", (event) => {
    event.preventDefault();
    goTo(element);
  });
  return make("li", {}, link);
}

function emptyOnes(draft) {
  const empty = Object.entries(WANTED).filter(([name]) => draft.facts[name] === null).map(([, words]) => words);
  if (!draft.rows.readings.length) empty.push("readings during the treatment");
  return empty;
}

function counted(draft, list) {
  const { length } = draft.rows[list];
  return length === 1 ? `1 ${list.slice(0, -1)}` : `${length} ${list}`;
}

/** Fill the part "Hand over". */
export function showSummary(draft) {
  const questions = [...openQuestions(draft), ...refusedByUnit(draft)];
  const box = document.getElementById("open-questions");
  box.hidden = questions.length === 0;
  box.querySelector("ul").replaceChildren(...questions.map(entry));
  const empty = emptyOnes(draft);
  const told = document.getElementById("left-empty");
  told.hidden = empty.length === 0;
  told.textContent = `Left empty: ${empty.join(", ")}. You may hand over without; the unit will see that it is not known.`;
  document.getElementById("counted").textContent =
    `${[counted(draft, "readings"), counted(draft, "events"), counted(draft, "medicines")].join(", ")}.`;
}
