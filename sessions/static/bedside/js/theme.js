/*
 * Runs before the first paint: the light, the hand and the letters that were chosen, so that nothing flashes at night.
 */
(() => {
  try {
    const look = JSON.parse(localStorage.getItem("bedside.look") ?? "null") || {};
    const root = document.documentElement.dataset;
    root.theme = look.theme || "auto";
    root.text = look.text || "1";
    root.hand = look.shownHand || "right";
    root.thumb = (root.hand === "right") === (look.dir !== "rtl") ? "end" : "start";
    if (look.dir === "rtl") document.documentElement.dir = "rtl";
  } catch {
    /* without storage it looks as the phone does */
  }
})();
