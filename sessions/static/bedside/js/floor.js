/*
 * Runs before the modules, in words that the oldest browsers know: whether this one has what the bedside calls without
 * looking. Where something is missing the page says so, with the numbers and the paper sheet, and nothing is begun: a
 * touch that does nothing, or "the unit cannot be reached", would send somebody to look in the wrong place.
 */
(function () {
  // What may be missing (storage, worker, sound, light) is not here: the screens go on without it and say so.
  var needed = [
    "fetch",
    "Promise.prototype.finally",
    "globalThis",
    "BigInt",
    "AbortController",
    "TextEncoder",
    "TextDecoder",
    "URLSearchParams",
    "DOMPoint",
    "structuredClone",
    "crypto.subtle",
    "crypto.getRandomValues",
    "crypto.randomUUID",
    "Array.prototype.at",
    "Array.prototype.flat",
    "Array.prototype.findLast",
    "Array.prototype.findLastIndex",
    "Object.fromEntries",
    "String.prototype.replaceAll",
    "Intl.PluralRules",
    "Intl.DateTimeFormat.prototype.formatToParts",
    "Intl.NumberFormat.prototype.formatToParts",
    "Element.prototype.closest",
    "Element.prototype.replaceChildren",
    "HTMLDialogElement.prototype.showModal",
    "HTMLScriptElement.prototype.noModule"
  ];

  function isThere(path) {
    var names = path.split(".");
    var last = names.pop();
    /** @type {any} */
    var at = window;
    while (names.length && at) at = at[names.shift()];
    return Boolean(at) && last in at;
  }

  var missing = needed.filter(function (path) {
    return !isThere(path);
  });

  /** @param {string} id @returns {any} */
  function part(id) {
    return document.getElementById(id);
  }

  function tell() {
    part("wait").hidden = true;
    part("lacks").textContent = missing.join(", ");
    part("too-old").hidden = false;
    part("numbers").className = "calls";
  }

  // An address without https takes some of them away too: main.js says that one.
  if (window.isSecureContext === false || !missing.length) return;
  document.documentElement.setAttribute("data-missing", missing.join(" "));
  document.addEventListener("DOMContentLoaded", tell);
})();
