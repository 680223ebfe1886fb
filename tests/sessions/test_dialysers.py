"""The unit enters its dialysers itself, and what was prescribed keeps its figures."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import ProgrammingError, transaction
from django.test import Client
from django.utils import timezone

from homedialysis.accounts.models import User
from sessions.models import Dialyser, Patient
from tests.conftest import signed_in
from tests.factories import PASSWORD, DialyserFactory, PrescriptionFactory
from tests.page_text import laid_flat

pytestmark = pytest.mark.django_db

SHEET = {
    "name": "Fenrow 21", "koa_ml_min": "1200", "surface_m2": "2,1", "uf_ml_h_mmhg": "", "phosphate_koa_ml_min": "",
    "b2m_koa_ml_min": "", "source": "Maker's data sheet, May 2026", "in_use": "on",
}  # fmt: skip


@pytest.fixture
def tove(technologist: User) -> Client:
    return signed_in(technologist)


def enter(client: Client, where: str = "new", **changes: str) -> Any:
    return client.post(f"/unit/dialysers/{where}/", SHEET | changes)


def test_from_an_empty_database_a_prescription_can_be_signed(
    tove: Client, nephrologist: User, nephrologist_client: Client, ana: Patient
) -> None:
    form = nephrologist_client.get(f"/patients/{ana.pk}/prescription/").content.decode()
    assert "a new one is entered among the" in form
    assert 'href="/unit/dialysers/"' in form
    assert enter(tove).status_code == 302
    row = Dialyser.objects.get()
    assert (row.koa_ml_min, row.surface_m2, row.source) == (1200, 2.1, "Maker's data sheet, May 2026")
    order = {
        "days_per_week": "3", "minutes": "240", "max_minutes": "300", "qb_ml_min": "300", "qd_ml_min": "500",
        "dialyser": str(row.pk), "dialysate_k_mmol_l": "2", "dialysate_ca_mmol_l": "1,5", "dialysate_na_mmol_l": "138",
        "dialysate_buffer": "bicarbonate", "dialysate_buffer_mmol_l": "35", "dialysate_temperature_c": "36,5",
        "target_weight_kg": "70", "uf_rate_limit_ml_kg_h": "10", "anticoagulant": "none",
        "reading_interval_minutes": "60",
    }  # fmt: skip
    where = f"/patients/{ana.pk}/prescription/"
    shown = nephrologist_client.post(where, order)
    assert shown.context["review"], shown.context["form"].errors
    answer = nephrologist_client.post(where, order | {"seen": shown.context["review"]["seen"], "password": PASSWORD})
    assert answer.status_code == 302
    signed = ana.prescriptions.get()
    assert (signed.dialyser, signed.dialysate_ca_mmol_l, signed.dialysate_temperature_c) == (row, 1.5, 36.5)


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"koa_ml_min": "12"}, "koa_ml_min", "Urea KoA must be between 100 and 3000 mL/min; 12 was given."),
        ({"koa_ml_min": "1.200"}, "koa_ml_min", "can be read two ways"),
        ({"surface_m2": "21"}, "surface_m2", "between 0.1 and 4 m²"),
        ({"phosphate_koa_ml_min": "1300"}, "phosphate_koa_ml_min", "at most 1200 mL/min; 1300 was given"),
        ({"source": ""}, "source", "required"),
        ({"name": "fenrow 17"}, None, "A dialyser of this name is in use already."),
    ],
)
def test_what_cannot_be_is_refused(tove: Client, changes: dict[str, str], field: str | None, words: str) -> None:
    DialyserFactory(name="Fenrow 17")
    page = enter(tove, **changes)
    assert page.status_code == 200
    assert words in " ".join(page.context["form"].errors[field or "__all__"])
    assert Dialyser.objects.count() == 1


def test_what_is_unusual_is_asked_about_once_more(tove: Client) -> None:
    page = enter(tove, koa_ml_min="2500")
    assert "Urea KoA: 2500 mL/min, usually between 400 and 2000 mL/min" in laid_flat(page.content.decode())
    assert not Dialyser.objects.exists()
    key = page.context["form"].asked_key
    assert "usually" in enter(tove, koa_ml_min="2600", sure=key).content.decode()
    assert enter(tove, koa_ml_min="2500", sure=key).status_code == 302
    assert Dialyser.objects.get().koa_ml_min == 2500


def test_other_figures_of_a_prescribed_one_are_a_new_row(tove: Client, technologist: User, ana: Patient) -> None:
    old = DialyserFactory(name="Fenrow 21", koa_ml_min=1000, surface_m2=2.1, source="typed by hand")
    order = PrescriptionFactory(patient=ana, dialyser=old)
    assert enter(tove, str(old.pk)).status_code == 302
    new = Dialyser.objects.get(in_use=True)
    old.refresh_from_db()
    order.refresh_from_db()
    assert (new.koa_ml_min, new.replaces, new.set_by) == (1200, old, technologist)
    assert (old.koa_ml_min, old.in_use, order.dialyser) == (1000, False, old)
    page = laid_flat(tove.get(f"/unit/dialysers/{new.pk}/").content.decode())
    assert "typed by hand" in page
    assert ana.name in laid_flat(tove.get(f"/unit/dialysers/{old.pk}/").content.decode())
    assert enter(tove, str(old.pk), koa_ml_min="1100").context["form"].errors


def test_figures_that_nobody_prescribed_yet_are_corrected_in_their_place(tove: Client) -> None:
    row = DialyserFactory(name="Fenrow 21", koa_ml_min=1020)
    assert enter(tove, str(row.pk)).status_code == 302
    row.refresh_from_db()
    assert row.koa_ml_min == 1200
    assert [event.koa_ml_min for event in row.events.order_by("pgh_id")] == [1020, 1200]


def test_the_database_itself_holds_what_was_prescribed(ana: Patient) -> None:
    row = PrescriptionFactory(patient=ana).dialyser
    with pytest.raises(ProgrammingError, match="figures of a dialyser"), transaction.atomic():
        Dialyser.objects.filter(pk=row.pk).update(koa_ml_min=900)
    Dialyser.objects.filter(pk=row.pk).update(in_use=False)


def test_what_is_out_of_use_is_prescribed_no_more_and_tried_while_somebody_has_it(
    nephrologist_client: Client, ana: Patient
) -> None:
    held, gone = DialyserFactory(name="Fenrow 21", in_use=False), DialyserFactory(name="Fenrow 9", in_use=False)
    PrescriptionFactory(patient=ana, dialyser=held)
    DialyserFactory(name="Fenrow 17")
    form = nephrologist_client.get(f"/patients/{ana.pk}/prescription/").context["form"]
    assert [each.name for each in form.fields["dialyser"].queryset] == ["Fenrow 17"]
    tried = Dialyser.objects.to_try(timezone.now())
    assert list(tried) == [Dialyser.objects.get(name="Fenrow 17"), held]
    assert gone not in tried


def test_the_list_says_what_it_is_for_while_it_is_empty(nurse_client: Client) -> None:
    assert "no prescription can be written" in nurse_client.get("/unit/dialysers/").content.decode()
