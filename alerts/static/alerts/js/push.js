// Sign this browser up for messages, when its reader asks for it.
// What it says stands on the page, in the reader's language.

const button = /** @type {HTMLButtonElement | null} */ (document.getElementById("push-on"));
const note = document.getElementById("push-note");

function bytes(text) {
  const padded = text.replaceAll("-", "+").replaceAll("_", "/") + "=".repeat((4 - (text.length % 4)) % 4);
  return Uint8Array.from(atob(padded), (letter) => letter.charCodeAt(0));
}

function say(words) {
  if (note) note.textContent = words || "";
}

/** @param {HTMLButtonElement} button */
async function signUp(button) {
  const { key = "", worker = "", signUp: address = "", scope, token = "" } = button.dataset;
  if ((await Notification.requestPermission()) !== "granted") {
    say(note?.dataset.refused);
    return;
  }
  const registration = await navigator.serviceWorker.register(worker, { scope });
  await ready(registration);
  const options = { userVisibleOnly: true, applicationServerKey: bytes(key) };
  const subscription = await registration.pushManager.subscribe(options);
  const answer = await fetch(address, {
    method: "POST",
    headers: { "Content-Type": "application/json", "X-CSRFToken": token },
    body: JSON.stringify(subscription),
  });
  if (answer.ok) window.location.reload();
  else say((await answer.json()).detail);
}

// navigator.serviceWorker.ready would wait for a worker of this very page, and ours belongs to the triage pages.
function ready(registration) {
  const worker = registration.installing || registration.waiting;
  if (registration.active || !worker) return Promise.resolve();
  return /** @type {Promise<void>} */ (
    new Promise((done) => {
      worker.addEventListener("statechange", () => {
        if (worker.state === "activated") done();
      });
    })
  );
}

if (button && "serviceWorker" in navigator && "PushManager" in window && "Notification" in window) {
  button.hidden = false;
  button.addEventListener("click", () => {
    button.disabled = true;
    signUp(button)
      .catch((problem) => say((note?.dataset.failed || "{why}").replace("{why}", problem.message)))
      .finally(() => {
        button.disabled = false;
      });
  });
} else if (note) {
  say(note.dataset.unable);
}
