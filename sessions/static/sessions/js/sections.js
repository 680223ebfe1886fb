/* The parts of the record, one in sight at a time; the address names it, so that Back and a reload find it again. */

/** Show the part that the address names, else `first`. `opened(name)` is called whenever one is shown. */
export function bindSections(first, opened) {
  const links = [...document.querySelectorAll("[data-section-link]")];
  const names = links.map((link) => link.dataset.sectionLink);
  const show = (name, focus) => {
    for (const section of document.querySelectorAll("[data-section]")) section.hidden = section.dataset.section !== name;
    for (const link of links) {
      if (link.dataset.sectionLink === name) link.setAttribute("aria-current", "step");
      else link.removeAttribute("aria-current");
    }
    opened(name);
    if (focus) {
      window.scrollTo(0, 0);
      document.querySelector(`[data-section="${name}"] h2`).focus({ preventScroll: true });
    }
  };
  const named = () => location.hash.slice(1);
  window.addEventListener("hashchange", () => names.includes(named()) && show(named(), true));
  show(names.includes(named()) ? named() : first, false);
}

/** Bring a field or row into sight, whichever part it lies in. */
export function goTo(element) {
  const section = element.closest("[data-section]");
  if (section?.hidden) {
    history.pushState(null, "", `#${section.dataset.section}`);
    window.dispatchEvent(new HashChangeEvent("hashchange"));
  }
  element.scrollIntoView({ block: "center" });
  element.focus({ preventScroll: true });
}
