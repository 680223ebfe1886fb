/* The plain fields of the record, the checks, the sites and the expected fluid: each bound to its place in the draft. */

import { bindNumber, bindText, bindTime } from "./field.js";

function refusing(draft, path) {
  return {
    refused: () => draft.refused[path],
    refuse: (text) => {
      if (text === null) delete draft.refused[path];
      else draft.refused[path] = text;
    },
  };
}

function listed(names, name, on) {
  return on ? [...new Set([...names, name])] : names.filter((each) => each !== name);
}

function factSlot(draft, name, limits) {
  return {
    limits, ...refusing(draft, name),
    read: () => draft.facts[name],
    write: (value) => { draft.facts[name] = value; },
    isConfirmed: () => draft.confirmed.includes(name),
    confirm: (on) => { draft.confirmed = listed(draft.confirmed, name, on); },
  };
}

function siteSlot(draft, use, name, limits) {
  const site = () => (draft.sites[use] ??= { site: null, confirmed: [] });
  return {
    limits, ...refusing(draft, `sites.${use}.${name}`),
    read: () => site()[name],
    write: (value) => { site()[name] = value; },
    isConfirmed: () => (site().confirmed ?? []).includes(name),
    confirm: (on) => { site().confirmed = listed(site().confirmed ?? [], name, on); },
  };
}

/** Numbers that stay on the phone or have no unusual range: nothing to confirm. */
function plainSlot(draft, path, limits, read, write) {
  return { limits, ...refusing(draft, path), read, write, isConfirmed: () => true, confirm: () => {} };
}

function each(selector, act) {
  for (const element of document.querySelectorAll(selector)) act(element);
}

function bindFacts({ page, draft, changed }) {
  each("[data-fact]", (input) => {
    const name = input.dataset.fact;
    bindNumber(input, factSlot(draft, name, page.limits[name]), changed);
  });
  each("[data-time]", (input) => {
    const name = input.dataset.time;
    const slot = { zone: page.zone, read: () => draft.facts[name], write: (iso) => { draft.facts[name] = iso; } };
    bindTime(input, slot, changed);
  });
  each("[data-text]", (input) => {
    const name = input.dataset.text;
    bindText(input, { read: () => draft.facts[name], write: (text) => { draft.facts[name] = text; } }, changed);
  });
}

function bindPlan({ page, draft, changed }) {
  const limits = { rinseBack: page.limits.rinse_back_l, drinks: page.limits.intake_l };
  each("[data-plan]", (input) => {
    const name = input.dataset.plan;
    const read = () => draft.plan[name];
    const write = (number) => { draft.plan[name] = number; };
    bindNumber(input, plainSlot(draft, `plan.${name}`, limits[name], read, write), changed);
  });
}

function bindSites({ page, draft, changed }) {
  each("[data-site]", (select) => {
    const use = select.dataset.site;
    select.value = String(draft.sites[use]?.site ?? "");
    select.addEventListener("change", () => {
      draft.sites[use] = { ...draft.sites[use], site: select.value ? Number(select.value) : null };
      changed();
    });
  });
  each("[data-site-number]", (input) => {
    const [use, name] = input.dataset.siteNumber.split(".");
    bindNumber(input, siteSlot(draft, use, name, page.limits[`sites.${name}`]), changed);
  });
}

function bindCheck({ page, draft, changed }, box) {
  const name = box.dataset.check;
  const answer = () => (draft.checks[name] ??= { passed: null, value: null, note: "" });
  const failed = box.querySelector("[data-check-failed]");
  const tell = () => { failed.hidden = draft.checks[name]?.passed !== false; };
  for (const radio of box.querySelectorAll("input[type=radio]")) {
    radio.checked = draft.checks[name]?.passed === (radio.value === "yes");
    radio.addEventListener("change", () => {
      answer().passed = radio.value === "yes";
      tell();
      changed();
    });
  }
  const value = box.querySelector("[data-check-value]");
  if (value) {
    const write = (number) => { answer().value = number; };
    const read = () => draft.checks[name]?.value;
    bindNumber(value, plainSlot(draft, `checks.${name}`, page.limits["checks.value"], read, write), changed);
  }
  bindText(box.querySelector("[data-check-note]"), {
    read: () => draft.checks[name]?.note, write: (text) => { answer().note = text; },
  }, changed);
  tell();
}

/** Bind every field outside the lists of readings, events and medicines. */
export function bindAll(context) {
  bindFacts(context);
  bindPlan(context);
  bindSites(context);
  each("[data-check]", (box) => bindCheck(context, box));
}
