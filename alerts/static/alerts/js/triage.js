// The list on the triage page renews itself: not while nobody looks, and never silently old.
const note = document.getElementById("live-note");
const trouble = document.getElementById("live-trouble");
const isLive = (element) => element instanceof Element && element.hasAttribute("data-live");

document.body.addEventListener("htmx:beforeRequest", (event) => {
  if (isLive(event.detail.target) && document.hidden) event.preventDefault();
});

document.addEventListener("visibilitychange", () => {
  const list = document.querySelector("[data-live]");
  if (!document.hidden && list) window.htmx.trigger(list, "wake");
});

document.body.addEventListener("htmx:afterRequest", (event) => {
  if (!isLive(event.detail.target)) return;
  const { successful, xhr } = event.detail;
  trouble.hidden = successful;
  if (!successful || xhr.status === 204) return;
  const time = new Date().toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
  note.textContent = `The list changed at ${time}.`;
});
