// Shows a message while no page is open. The words come from the server; there is nothing of any patient in them.
/** @type {ServiceWorkerGlobalScope} */
const worker = /** @type {any} */ (self);

worker.addEventListener("push", (event) => {
  let told = {};
  try {
    told = event.data ? event.data.json() : {};
  } catch {
    told = {};
  }
  const options = {
    body: told.body || "",
    tag: "look",
    renotify: true,
    data: { url: told.url || "{% url 'alerts:triage' %}" },
  };
  event.waitUntil(worker.registration.showNotification(told.title || "Please look", options));
});

worker.addEventListener("notificationclick", (event) => {
  event.notification.close();
  const address = new URL(event.notification.data.url, worker.location.origin);
  if (address.origin !== worker.location.origin) return;
  event.waitUntil(
    worker.clients.matchAll({ type: "window", includeUncontrolled: true }).then((pages) => {
      const open = pages.find((page) => new URL(page.url).pathname === address.pathname);
      return open ? open.focus() : worker.clients.openWindow(address.href);
    }),
  );
});
