/* The three lists of a night and how their rows read. */

import { make } from "./field.js";
import { withUnit } from "./numbers.js";
import { RowList } from "./rows.js";

const READING_WORDS = [
  ["arterial_mmhg", "arterial"], ["venous_mmhg", "venous"], ["tmp_mmhg", "TMP"], ["qb_ml_min", "Qb"], ["qd_ml_min", "Qd"],
  ["uf_rate_ml_h", "UF rate"], ["uf_volume_l", "UF"], ["pulse", "pulse"], ["conductivity_ms_cm", "conductivity"],
  ["dialysate_temperature_c", "dialysate"],
];

function measured(values, limits) {
  const said = READING_WORDS.filter(([name]) => values[name] != null);
  const words = said.map(([name, word]) => `${word} ${withUnit(values[name], limits[`readings.${name}`].unit)}`);
  const { systolic, diastolic } = values;
  if (systolic != null || diastolic != null) words.unshift(`BP ${systolic ?? "–"}/${diastolic ?? "–"}`);
  return words;
}

function readings(context) {
  const { limits } = context.page;
  return new RowList(context, {
    list: "readings", onceATime: true,
    limits: (name) => limits[`readings.${name}`],
    words: ({ values }) => [measured(values, limits).join(" · ")],
    ready: ({ at, ...numbers }) => (Object.values(numbers).some((value) => value !== null) ? "" : "Write at least one number."),
  });
}

function events(context) {
  const { eventKinds } = context.page;
  const list = new RowList(context, {
    list: "events",
    limits: () => null,
    words: ({ values }) => [values.note ? `${eventKinds[values.kind]}: ${values.note}` : eventKinds[values.kind]],
    ready: () => "",
    onShow({ kind }) {
      this.form.querySelector("[data-event-name]").textContent = eventKinds[kind];
    },
  });
  for (const kind of document.querySelectorAll("[data-event]")) {
    kind.addEventListener("click", () => list.open(null, { kind: kind.dataset.event }));
  }
  return list;
}

function medicines(context) {
  const { limits } = context.page;
  return new RowList(context, {
    list: "medicines",
    limits: (name) => limits[`medicines.${name}`],
    words: ({ values: { name, amount, unit, note } }) => {
      const given = amount == null ? name : `${name}, ${withUnit(amount, unit)}`;
      return [make("span", { textContent: note ? `${given}: ${note}` : given })];
    },
    ready: ({ name }) => (name ? "" : "Write the name of the medicine."),
  });
}

/** Bind all lists of the page -> {readings, events, medicines}. */
export function bindLists(context) {
  return { readings: readings(context), events: events(context), medicines: medicines(context) };
}

