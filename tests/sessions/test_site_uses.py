"""When needle sites were used: counted over thirty days, listed over ninety, of this access alone."""

from __future__ import annotations

from datetime import timedelta

from sessions.models import Patient
from sessions.services.site_uses import DAYS_SHOWN, USES_DAYS, uses_of
from tests.factories import A_NIGHT, AccessFactory, SiteFactory, record_night

DAY = timedelta(days=1)
TODAY = A_NIGHT.date()


def test_uses_are_listed_newest_first_and_the_last_days_counted(ana: Patient, ben: Patient) -> None:
    access, other = AccessFactory(patient=ana), AccessFactory(patient=ben)
    lower, upper, never = (SiteFactory(access=access, name=name) for name in ("Lower", "Upper", "Never"))
    bens = SiteFactory(access=other, name="Lower")
    for days in (DAYS_SHOWN, 3, DAYS_SHOWN - 1, USES_DAYS, 0, USES_DAYS - 1, -1):
        record_night(ana, A_NIGHT - days * DAY, sites=[{"site": lower.pk, "use": "arterial"}])
    record_night(ana, A_NIGHT - 2.5 * DAY, sites=[{"site": upper.pk, "use": "venous"}])
    record_night(ben, A_NIGHT - DAY, sites=[{"site": bens.pk, "use": "venous"}])
    found = uses_of(access, TODAY)
    assert found[lower.pk].days == tuple(TODAY - days * DAY for days in (0, 3, 29, 30, 89))
    assert (found[lower.pk].lately, found[upper.pk].lately) == (3, 1)
    assert set(found) == {lower.pk, upper.pk}
    assert never.pk not in found
    assert uses_of(other, TODAY)[bens.pk].days == (TODAY - DAY,)
