// Shows a message while no page is open. The words come from the server; there is nothing of any patient in them.
self.addEventListener("push", (event) => {
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
  event.waitUntil(self.registration.showNotification(told.title || "Please look", options));
});

self.addEventListener("notificationclick", (event) => {
  event.notification.close();
  const address = new URL(event.notification.data.url, self.location.origin);
  if (address.origin !== self.location.origin) return;
  event.waitUntil(
    self.clients.matchAll({ type: "window", includeUncontrolled: true }).then((pages) => {
      const open = pages.find((page) => new URL(page.url).pathname === address.pathname);
      return open ? open.focus() : self.clients.openWindow(address.href);
    }),
  );
});
