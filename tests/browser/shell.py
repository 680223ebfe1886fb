"""The bedside in the hands of somebody, for the tests of its frame: keeping, sending, locking, leaving."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from playwright.sync_api import Page, expect

from tests.browser.conftest import Watched

MODULES = "/static/bedside/js"
STARTED = (datetime.now(UTC) - timedelta(days=1)).replace(hour=21, minute=30, second=0, microsecond=0)
"""When the made-up nights begin: not long ago, as the server sees it."""
ENDED = STARTED + timedelta(hours=4)

GO_TO = """async (place) => {
  const asked = `#/${place}`;
  const name = place.split("/")[0];
  const drawn = new Promise((done) => window.addEventListener("hashchange", done, { once: true }));
  if (location.hash !== asked) {
    location.hash = asked;
    await drawn;
  }
  for (let tries = 0; tries < 150; tries += 1) {
    if (location.hash !== asked || document.documentElement.dataset.screen === name) return true;
    await new Promise((next) => setTimeout(next, 100));
  }
  return false;
}"""


def go_to(page: Page, place: str) -> None:
    """To a screen of the bedside, which is drawn when this returns: it may have to be fetched first, or lead on."""
    assert page.evaluate(GO_TO, place), f"never drawn: {place}"


class Shell:
    """One window of the bedside."""

    def __init__(self, watched: Watched, page: Page | None = None) -> None:
        self.watched = watched
        self.page = page or watched.page

    def start(self, path: str = "/tonight/") -> Shell:
        self.page.goto(self.watched.home + path)
        expect(self.page.locator("#screen h1")).to_be_visible()
        return self

    def ready(self) -> Shell:
        """Started, with the kit in hand."""
        self.start()
        self.until(f"(await import('{MODULES}/app.js')).ctx.kit?.patient")
        return self

    def until(self, what: str) -> None:
        """Wait until an expression, which may wait for promises, is true."""
        script = f"""async () => {{
          for (let tries = 0; tries < 100; tries += 1) {{
            if ({what}) return true;
            await new Promise((next) => setTimeout(next, 100));
          }}
          return false;
        }}"""
        assert self.page.evaluate(script), f"never came: {what}"

    def kept(self) -> Shell:
        """Wait until the release lies on the phone and its worker answers for the page."""
        self.until("navigator.serviceWorker.controller?.state === 'activated'")
        return self

    def offline(self, cut: bool = True) -> None:
        self.watched.context.set_offline(cut)

    def another_window(self) -> Shell:
        """The same phone: a page that is opened after one has died, or beside it."""
        page = self.watched.context.new_page()
        page.on("console", self.watched.note_console)
        page.on("pageerror", lambda problem: self.watched.faults.append(str(problem)))
        return Shell(self.watched, page)

    def go(self, place: str) -> None:
        go_to(self.page, place)

    def press(self, name: str, exact: bool = True) -> None:
        self.page.get_by_role("button", name=name, exact=exact).click()

    def heading(self, words: str) -> None:
        expect(self.page.get_by_role("heading", level=1)).to_have_text(words)

    def run(self, body: str, given: Any = None) -> Any:
        """Run a function body with the app's `ctx` and the given value."""
        script = f"async (given) => {{ const {{ ctx }} = await import('{MODULES}/app.js'); {body} }}"
        return self.page.evaluate(script, given)

    def begin(self, **document: Any) -> str:
        """Begin a night with some values in its document -> its id."""
        body = """ctx.begin();
          ctx.change("Begun", (night) => Object.assign(night.doc, given));
          await ctx.save();
          return ctx.night.id;"""
        begun: str = self.run(body, document)
        return begun

    def whole_night(self, **document: Any) -> str:
        """A night that could be handed over."""
        values = {
            "started_at": STARTED.isoformat(),
            "ended_at": ENDED.isoformat(),
            "pre_weight_kg": 72.5,
            "post_weight_kg": 70.2,
            "uf_removed_l": 2.6,
        }
        return self.begin(**(values | document))

    def hand_over(self) -> None:
        self.run("await ctx.handOver();")

    def night(self) -> Any:
        return self.run("return JSON.parse(JSON.stringify(ctx.night));")

    def raw(self) -> list[str]:
        """What lies in the phone's databases, as text, whoever wrote it and whether or not anybody can read it."""
        script = """async () => {
          const texts = [];
          for (const { name } of await indexedDB.databases()) {
            const open = indexedDB.open(name);
            await new Promise((done) => { open.onsuccess = done; });
            const base = open.result;
            for (const store of base.objectStoreNames) {
              const request = base.transaction(store).objectStore(store).getAll();
              await new Promise((done) => { request.onsuccess = done; });
              for (const row of request.result) {
                const bytes = row.body ? new TextDecoder("latin1").decode(row.body) : "";
                texts.push(`${name}/${store}: ${JSON.stringify(row)} ${bytes}`);
              }
            }
            base.close();
          }
          return texts;
        }"""
        found: list[str] = self.page.evaluate(script)
        return found
