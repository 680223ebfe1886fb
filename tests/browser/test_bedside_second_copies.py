"""Where the unit brought back a backup, the phone sends again what the unit lacks, and loses nothing of its own."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime
from typing import Any

import pgtrigger
import pytest
from playwright.sync_api import expect

from sessions.models import Patient, Prescription, TreatmentRecord
from sessions.services.recording import record_treatment
from tests.browser.conftest import BrowserPage
from tests.browser.evening import wait_for
from tests.browser.shell import STARTED, Shell

pytestmark = pytest.mark.django_db(transaction=True)
AGO = "new Date(Date.now() - 40 * 3600000).toISOString()"


@pytest.fixture
def shell(browser_page: BrowserPage, ana: Patient, anas_prescription: Prescription) -> Shell:
    return Shell(browser_page(ana.account, worker=False)).ready()


def delivered(shell: Shell) -> str:
    begun = shell.whole_night(notes="slept well")
    shell.hand_over()
    assert wait_for(lambda: TreatmentRecord.objects.filter(pk=begun).exists())
    shell.until("(await import('/static/bedside/js/app.js')).ctx.night.delivered")
    return begun


def lose_everything() -> None:
    """As the database is that stands before what was delivered, versions and all."""
    with pgtrigger.ignore():
        TreatmentRecord.objects.all().delete()
        TreatmentRecord._meta.get_field("events").related_model._default_manager.all().delete()


def another_history(shell: Shell) -> None:
    """The unit's records tell another history from now on, as after a backup was read into a new database."""
    body = "await (await import('/static/bedside/js/vault.js')).remove('meta', `copies.${ctx.kit.patient.id}`);"
    shell.run(f"{body} await ctx.refresh();")


def test_a_treatment_that_left_the_screens_is_sent_again_where_the_unit_lost_it(shell: Shell) -> None:
    begun = delivered(shell)
    shell.run(f"ctx.night.delivered = {AGO}; await ctx.save();")
    shell.page.reload()
    shell.until("(await import('/static/bedside/js/app.js')).ctx.kit?.patient")
    assert shell.run("return ctx.nights.length") == 0
    lose_everything()
    another_history(shell)
    told = shell.page.locator("p:visible", has_text="The unit had to bring back older records.")
    expect(told.first).to_be_visible()
    assert wait_for(lambda: TreatmentRecord.objects.filter(pk=begun, notes="slept well").exists())
    shell.until("(await import('/static/bedside/js/app.js')).ctx.nights[0]?.delivered")
    another_history(shell)
    assert TreatmentRecord.objects.get(pk=begun).revision == 1, "known again: not sent a second time"


def test_what_was_written_after_the_backup_comes_back_beside_what_the_unit_kept(shell: Shell, ana: Patient) -> None:
    begun = delivered(shell)
    kept: dict[str, Any] = TreatmentRecord.objects.get(pk=begun).document
    lose_everything()
    older = kept | {"notes": "", "post_weight_kg": None, "pre_pulse": 71.0}
    record_treatment(record_id=uuid.UUID(begun), patient=ana, document=older, by=ana.account, at=datetime.now(UTC))
    another_history(shell)
    assert wait_for(lambda: TreatmentRecord.objects.get(pk=begun).revision == 2)
    now = TreatmentRecord.objects.get(pk=begun)
    assert (now.notes, now.post_weight_kg, now.pre_pulse) == ("slept well", 70.2, 71)
    assert now.started_at == STARTED
