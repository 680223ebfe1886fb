"""What lies on the phone: encrypted, opened by a PIN, wiped when the phone leaves, and never lost without a word."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from playwright.sync_api import expect

from homedialysis.accounts.models import BedsideDevice
from homedialysis.web.static_storage import FIRST_PIECE
from sessions.models import Patient, Prescription, TreatmentRecord
from tests.browser.conftest import BrowserPage
from tests.browser.shell import STARTED, Shell
from tests.browser.static_from_memory import pieces

pytestmark = pytest.mark.django_db(transaction=True)
PIN = "270518"
REFUSING = "IDBFactory.prototype.open = () => { throw new DOMException('no', 'SecurityError'); };"
FULL = """const put = IDBObjectStore.prototype.put;
IDBObjectStore.prototype.put = function (row) {
  if (window.full && this.name === "nights") throw new DOMException("full", "QuotaExceededError");
  return put.call(this, row);
};"""


@pytest.fixture
def shell(browser_page: BrowserPage, ana: Patient, anas_prescription: Prescription) -> Shell:
    return Shell(browser_page(ana.account))


def set_pin(shell: Shell, pin: str = PIN) -> None:
    shell.go("settings")
    shell.press("Set a PIN")
    shell.page.get_by_label("New PIN").fill(pin)
    shell.page.get_by_label("The same again").fill(pin)
    shell.press("Set the PIN")
    expect(shell.page.locator("#undo")).to_contain_text("The PIN is set.")


def type_pin(shell: Shell, pin: str = PIN) -> None:
    for figure in pin:
        shell.press(figure)
    shell.press("Open")


# The PIN ----------------------------------------------------------------------------------------------


def test_nothing_of_the_patient_lies_readable_on_the_phone(shell: Shell) -> None:
    shell.ready()
    shell.begin(notes="a very private note")
    set_pin(shell)
    texts = "\n".join(shell.raw())
    assert "nights" in texts
    assert [word for word in ("Verdemar", "private", "target_weight", "wrapped-key") if word in texts] == []
    plain = shell.page.evaluate("JSON.stringify({ ...localStorage })")
    assert [word for word in ("Verdemar", "private", "target_weight") if word in plain] == []


def test_a_pin_opens_without_a_network_and_a_wrong_one_does_not(shell: Shell) -> None:
    shell.ready().kept()
    begun = shell.begin(notes="kept")
    set_pin(shell)
    shell.offline()
    shell.start()
    shell.heading("Locked")
    assert shell.run("return [ctx.night, ctx.kit?.patient ?? null];") == [None, None]
    type_pin(shell, "111111")
    expect(shell.page.get_by_role("alert").filter(has_text="That is not the PIN.")).to_be_visible()
    type_pin(shell)
    expect(shell.page.locator("#head .state")).to_contain_text("Ana Verdemar")
    assert shell.night()["id"] == begun
    assert shell.night()["doc"]["notes"] == "kept"


def test_wrong_pins_make_one_wait_longer_each_time_and_wipe_nothing(shell: Shell) -> None:
    shell.ready()
    shell.begin(notes="kept")
    set_pin(shell)
    shell.press("Lock now")
    shell.heading("Locked")
    waits = [
        shell.run("return (await (await import('/static/bedside/js/vault.js')).unlock('0000')).wait;") for _ in range(5)
    ]
    assert waits == [0, 0, 0, 0, 30_000]
    shell.start()
    type_pin(shell)
    expect(shell.page.get_by_text("Nothing is lost.")).to_be_visible()
    shell.heading("Locked")
    forget_wait = """const { plain } = await import('/static/bedside/js/vault.js');
      const open = indexedDB.open(`bedside-${plain('account')}`);
      await new Promise((done) => { open.onsuccess = done; });
      const base = open.result;
      const store = base.transaction('meta', 'readwrite').objectStore('meta');
      const written = store.put({ id: 'tries', count: 6, until: 0 });
      await new Promise((done) => { written.onsuccess = done; });
      base.close();"""
    shell.run(forget_wait)
    assert shell.run("return (await (await import('/static/bedside/js/vault.js')).unlock('0000')).wait;") == 120_000
    shell.run(forget_wait)
    shell.start()
    type_pin(shell)
    expect(shell.page.locator("#head .state")).to_contain_text("Ana Verdemar")
    assert shell.night()["doc"]["notes"] == "kept"


def test_a_pin_has_its_length_told_and_both_fields_agree(shell: Shell) -> None:
    shell.ready()
    shell.go("settings")
    shell.press("Set a PIN")
    for first, second, words in (("12", "12", "4 to 12 figures; 2 were given"), ("1234", "1235", "not the same")):
        shell.page.get_by_label("New PIN").fill(first)
        shell.page.get_by_label("The same again").fill(second)
        shell.press("Set the PIN")
        expect(shell.page.get_by_role("alert").filter(has_text=words)).to_be_visible()


def test_it_locks_itself_when_nobody_touches_it(shell: Shell) -> None:
    shell.page.clock.install()
    shell.ready()
    shell.begin(notes="kept")
    set_pin(shell)
    shell.press("2 minutes")
    shell.page.clock.run_for(3 * 60_000)
    shell.heading("Locked")


def test_an_emergency_is_noted_while_locked_and_stands_in_the_record_afterwards(shell: Shell) -> None:
    shell.ready()
    shell.begin(started_at=STARTED.isoformat())
    set_pin(shell)
    shell.press("Lock now")
    shell.heading("Locked")
    shell.press("Something is wrong")
    shell.until("document.documentElement.dataset.screen === 'danger'")
    assert shell.run("return Boolean(ctx.kit.cards.length && ctx.kit.unit.emergency_number);")
    shell.run("ctx.jot({ kind: 'needle_dislodged', note: 'venous' }); ctx.go('tonight');")
    shell.heading("Locked")
    type_pin(shell)
    expect(shell.page.locator("#head .state")).to_contain_text("Ana Verdemar")
    assert [(event["kind"], event["note"]) for event in shell.night()["doc"]["events"]] == [
        ("needle_dislodged", "venous")
    ]


def test_the_pin_is_taken_away_and_the_night_stays(shell: Shell) -> None:
    shell.ready()
    shell.begin(notes="kept")
    set_pin(shell)
    shell.press("Take the PIN away")
    expect(shell.page.locator("#undo")).to_contain_text("no longer protected")
    shell.start()
    expect(shell.page.locator("#head .state")).to_contain_text("Ana Verdemar")
    assert shell.night()["doc"]["notes"] == "kept"


# Storage that refuses -----------------------------------------------------------------------------------


def test_without_storage_the_record_is_written_in_the_window_and_handed_over(shell: Shell) -> None:
    shell.watched.context.add_init_script(REFUSING)
    shell.ready()
    notice = shell.page.locator("a.notice.stop")
    expect(notice).to_contain_text("storage is refused")
    shell.whole_night(notes="in memory")
    notice.click()
    shell.heading("Storage of this phone")
    expect(shell.page.locator("dl").filter(has_text="72.5 kg")).to_be_visible()
    shell.hand_over()
    assert TreatmentRecord.objects.get().notes == "in memory"


def test_a_full_phone_is_told_and_goes_on_once_there_is_room(shell: Shell) -> None:
    shell.watched.context.add_init_script(FULL)
    shell.ready()
    shell.begin(notes="before")
    shell.page.evaluate("window.full = true")
    shell.run("ctx.change('Note', (night) => { night.doc.notes = 'after'; });")
    notice = shell.page.locator("a.notice.stop")
    expect(notice).to_contain_text("storage is full")
    notice.click()
    shell.page.evaluate("window.full = false")
    shell.press("Try the storage again")
    expect(shell.page.get_by_text("This phone keeps the record, and")).to_be_visible()
    shell.start()
    assert shell.night()["doc"]["notes"] == "after"


def test_a_browser_that_cleared_the_storage_is_told(shell: Shell) -> None:
    shell.ready()
    shell.begin(notes="gone")
    name = shell.page.evaluate("async () => (await indexedDB.databases())[0].name")
    shell.page.goto(shell.watched.home + "/tonight/offline/")
    shell.page.evaluate("(name) => new Promise((done) => { indexedDB.deleteDatabase(name).onsuccess = done; })", name)
    shell.ready()
    expect(shell.page.locator("a.notice.stop")).to_contain_text("The browser has cleared what was kept")


def test_a_new_layout_of_the_storage_keeps_what_is_in_it(shell: Shell) -> None:
    shell.ready()
    begun = shell.begin(notes="kept")

    layout = re.compile(r'"meta"\],\s*VERSION=2\b')
    written = pieces(opened=True)[FIRST_PIECE]
    assert len(layout.findall(written)) == 1
    newer = layout.sub('"meta","more"],VERSION=3', written)
    shell.page.route(f"**/{FIRST_PIECE}", lambda route: route.fulfill(body=newer, content_type="text/javascript"))
    shell.page.evaluate("async () => { await (await navigator.serviceWorker.getRegistration())?.unregister(); }")
    shell.ready()
    shell.run("await (await import('/static/bedside/js/vault.js')).put('more', { id: 'x' });")
    assert (shell.night()["id"], shell.night()["doc"]["notes"]) == (begun, "kept")
    assert "/more:" in "\n".join(shell.raw())


# Leaving ------------------------------------------------------------------------------------------------


def databases(shell: Shell) -> Any:
    return shell.page.evaluate(
        "async () => [(await indexedDB.databases()).map(({ name }) => name), await caches.keys()]"
    )


def test_a_phone_that_the_unit_takes_back_is_wiped_at_its_next_contact(
    shell: Shell, nurse_client: Client, ana: Patient
) -> None:
    shell.ready().kept()
    shell.offline()
    shell.begin(notes="unsent", started_at=STARTED.isoformat())
    device = BedsideDevice.objects.get()
    nurse_client.post(reverse("treatments:take-device-back", args=[ana.pk, device.pk]))
    shell.run("await ctx.refresh();")
    assert shell.night()["doc"]["notes"] == "unsent", "without a network nothing is known of it"
    shell.offline(False)
    shell.heading("This phone was taken back")
    expect(shell.page.get_by_text("1 entry had not reached the unit and was deleted with it")).to_be_visible()
    expect(shell.page.get_by_text("Nurse Kim")).to_be_visible()
    assert databases(shell) == [[], []]
    shell.press("Sign in")
    expect(shell.page.get_by_label("Password")).to_be_visible()


def test_a_locked_phone_is_wiped_too(shell: Shell, nurse_client: Client, ana: Patient) -> None:
    shell.ready().kept()
    shell.begin(notes="kept")
    set_pin(shell)
    device = BedsideDevice.objects.get()
    nurse_client.post(reverse("treatments:take-device-back", args=[ana.pk, device.pk]))
    shell.start()
    shell.heading("This phone was taken back")
    assert databases(shell)[0] == []


def test_signing_out_warns_of_what_was_not_sent_and_then_wipes(shell: Shell) -> None:
    shell.ready().kept()
    shell.page.route("**/api/v1/treatments/**", lambda route: route.abort())
    shell.whole_night()
    shell.hand_over()
    shell.go("settings")
    shell.press("Sign out of this phone")
    expect(shell.page.get_by_text("1 entry has not reached the unit. Signing out deletes it.")).to_be_visible()
    shell.press("Send first")
    shell.page.unroute("**/api/v1/treatments/**")
    shell.press("Send now")
    expect(shell.page.get_by_text("The unit has everything that was entered on this phone.")).to_be_visible()
    assert TreatmentRecord.objects.count() == 1
    shell.go("settings")
    shell.press("Sign out")
    expect(shell.page.get_by_label("E-mail address")).to_be_visible()
    assert databases(shell) == [[], []]
    assert not BedsideDevice.objects.exists(), "it is no device of this person any more"


def test_what_was_noted_on_a_card_is_told_and_goes_with_the_rest(shell: Shell) -> None:
    """It waits for a record in the plain storage, where anybody who has the phone could read it."""
    shell.ready().kept()
    shell.go("danger")
    shell.press("Needle out, or blood on the sheet")
    shell.press("This happened: note it", exact=False)
    expect(shell.page.get_by_text("Noted on this phone at", exact=False)).to_be_visible()
    assert "needle_dislodged" in shell.page.evaluate("JSON.stringify(localStorage)")
    shell.go("settings")
    shell.press("Sign out of this phone")
    expect(shell.page.get_by_text("1 entry has not reached the unit. Signing out deletes it.")).to_be_visible()
    shell.press("Delete and sign out")
    expect(shell.page.get_by_label("E-mail address")).to_be_visible()
    assert "needle_dislodged" not in shell.page.evaluate(
        "JSON.stringify(Object.entries(localStorage).filter(([name]) => name !== 'bedside.emergency'))"
    )


def test_signing_out_without_a_network_deletes_nothing(shell: Shell) -> None:
    shell.ready().kept()
    shell.begin(notes="kept")
    shell.offline()
    shell.go("settings")
    shell.press("Sign out of this phone")
    shell.press("Delete and sign out")
    expect(shell.page.locator("#undo")).to_contain_text("nothing was deleted")
    shell.start()
    assert shell.night()["doc"]["notes"] == "kept"


# Said only once it is so --------------------------------------------------------------------------------

SLOW = """const put = IDBObjectStore.prototype.put;
IDBObjectStore.prototype.put = function (row) {
  const request = put.call(this, row);
  if (this.name !== "nights") return request;
  const spin = () => { if (window.held) this.get("nobody").onsuccess = spin; };
  spin();
  return request;
};"""
"""While `window.held` a writing of a night does not end: its transaction is kept busy."""
BREAKING = """const encrypt = SubtleCrypto.prototype.encrypt;
SubtleCrypto.prototype.encrypt = function (...given) {
  if (window.broken) throw new DOMException("no", "OperationError");
  return encrypt.apply(this, given);
};"""


def test_kept_is_said_after_the_writing_has_ended(shell: Shell) -> None:
    shell.watched.context.add_init_script(SLOW)
    shell.ready()
    shell.begin(notes="before")
    shell.go("weigh")
    head = shell.page.locator("#head .state")
    expect(head).to_contain_text("Kept on this phone")
    shell.page.evaluate("window.held = true")
    shell.run("ctx.change('Note', (night) => { night.doc.notes = 'after'; });")
    expect(head).to_contain_text("Being kept on this phone")
    expect(head).not_to_contain_text("Kept on this phone")
    shell.page.evaluate("window.held = false")
    expect(head).to_contain_text("Kept on this phone")


def test_a_writing_that_failed_is_told_and_those_after_it_are_kept(shell: Shell) -> None:
    shell.watched.context.add_init_script(BREAKING)
    shell.ready()
    shell.begin(notes="before")
    shell.page.evaluate("window.broken = true")
    shell.run("ctx.change('Note', (night) => { night.doc.notes = 'after'; });")
    expect(shell.page.locator("#head .state")).to_contain_text("Not kept on this phone")
    expect(shell.page.locator("a.notice.stop")).to_be_visible()
    shell.page.evaluate("window.broken = false")
    shell.run("ctx.change('Note', (night) => { night.doc.notes = 'later'; }); await ctx.save();")
    expect(shell.page.locator("#head .state")).to_contain_text("Kept on this phone")
    expect(shell.page.locator("a.notice.stop")).to_have_count(0)
    shell.start()
    assert shell.night()["doc"]["notes"] == "later"
