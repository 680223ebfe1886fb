"""How days and times are written: in the order and on the clock of the unit, in the words of the reader's language."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time
from pathlib import Path

import pytest
from django.conf import settings
from django.template import Context, Template
from django.test import Client
from django.utils import timezone, translation

from homedialysis.accounts.models import Unit
from homedialysis.accounts.services.dates import OnCharts, laid_out, on_charts, short_day, told_clock, week
from homedialysis.accounts.services.units import Dates, Spoken, speaking
from sessions.facts import local_day

FRIDAY = date(2026, 11, 20)
LATE = datetime(2026, 11, 20, 22, 5, tzinfo=UTC)
DAY_FIRST, MONTH_FIRST, YEAR_FIRST = Dates(), Dates("mdy", "12", 6), Dates("ymd", "24", 5)
HOUSE = Path(settings.BASE_DIR)


@pytest.mark.parametrize(
    ("letters", "dates", "told"),
    [
        ("j M Y", DAY_FIRST, "20 Nov 2026"),
        ("j M Y", MONTH_FIRST, "Nov 20, 2026"),
        ("j M Y", YEAR_FIRST, "2026-11-20"),
        ("D j M Y", DAY_FIRST, "Fri 20 Nov 2026"),
        ("D j M Y", MONTH_FIRST, "Fri, Nov 20, 2026"),
        ("D j M Y", YEAR_FIRST, "Fri 2026-11-20"),
        ("j M", MONTH_FIRST, "Nov 20"),
        ("j M", YEAR_FIRST, "Nov 20"),
        ("D j M, H:i", DAY_FIRST, "Fri 20 Nov, 22:05"),
        ("D j M, H:i", MONTH_FIRST, "Fri, Nov 20, 10:05 PM"),
        ("D j M, H:i", YEAR_FIRST, "Fri, Nov 20, 22:05"),
        ("j M Y H:i", MONTH_FIRST, "Nov 20, 2026 10:05 PM"),
        ("H:i", MONTH_FIRST, "10:05 PM"),
        ("H:i", DAY_FIRST, "22:05"),
        ("F Y", MONTH_FIRST, "November 2026"),
        ("Y-m", MONTH_FIRST, "2026-11"),
        ("c", MONTH_FIRST, "2026-11-20T22:05:00+00:00"),
    ],
)
def test_a_template_names_the_parts_and_the_unit_their_order(letters: str, dates: Dates, told: str) -> None:
    with speaking(Spoken(dates=dates)), timezone.override("UTC"):
        assert Template(f'{{{{ when|date:"{letters}" }}}}').render(Context({"when": LATE})) == told


@pytest.mark.parametrize(
    ("dates", "told"),
    [
        (DAY_FIRST, "viernes, 20 de noviembre de 2026"),
        (MONTH_FIRST, "viernes, noviembre 20, 2026"),
        (YEAR_FIRST, "viernes 2026-11-20"),
    ],
)
def test_the_names_are_those_of_the_readers_language(dates: Dates, told: str) -> None:
    with speaking(Spoken(dates=dates)), translation.override("es"):
        assert local_day.day(FRIDAY) == told


def test_midnight_and_noon_have_their_halves_of_the_day() -> None:
    with speaking(Spoken(dates=MONTH_FIRST)):
        assert [told_clock(time(hour, 5)) for hour in (0, 9, 12, 21)] == ["12:05 AM", "9:05 AM", "12:05 PM", "9:05 PM"]
    assert short_day(None) == ""


def test_charts_and_weeks_follow() -> None:
    days = [(0, "Monday"), (5, "Saturday"), (6, "Sunday"), ("", "Choose")]
    with speaking(Spoken(dates=MONTH_FIRST)):
        assert on_charts() == OnCharts("%b %-d, %Y", "%b %-d, %Y, %-I:%M %p")
        assert week() == [6, 0, 1, 2, 3, 4, 5]
        assert [day for day, _name in laid_out(days)] == ["", 6, 0, 5]
    with speaking(Spoken(dates=YEAR_FIRST)):
        assert (on_charts().day, week()[0]) == ("%Y-%m-%d", 5)


def test_what_a_unit_chose_is_on_its_pages(nurse_client: Client, unit: Unit) -> None:
    Unit.objects.update(day_order="mdy", hour_clock="12", week_begins=6)
    unit.opening_hours.create(weekday=6, opens="09:00", closes="12:30")
    page = nurse_client.get("/unit/").content.decode()
    assert re.search(r"9:00 AM\s+to 12:30 PM", page)
    assert page.index("Sunday") < page.index("Monday") < page.index("Tuesday")
    assert re.search(r"<dd>[A-Z][a-z]{2} \d{1,2}, 20\d\d, \d{1,2}:\d\d [AP]M</dd>", page)
    rota = nurse_client.get("/rota/").content.decode()
    assert rota.index("Sunday") < rota.index("Monday")


WRITES_ITSELF = re.compile(
    r"django\.utils\.formats import[^\n]*\b(?:date|time)_format|\{[^{}\n]*:[^}\n]*%[HdbB][^}\n]*\}"
)
APPS = ("alerts", "dosing", "sessions", "homedialysis")
PROGRAMS = {
    "homedialysis/accounts/services/dates.py",
    "alerts/services/heartbeat.py",
    "homedialysis/running/backup.py",
    "homedialysis/running/doctor.py",
    "sessions/services/kit.py",
}
"""Those that hand a day or a time to a program, or to whoever runs this one; and the one that writes for people."""
NAMES = re.compile(r"def __str__[\s\S]*?(?=\n    def |\n\n\n|\Z)")


def test_nothing_else_writes_a_day_or_a_time_for_people() -> None:
    """Names of rows in a shell apart."""
    found = {}
    for path in (each for app in APPS for each in (HOUSE / app).rglob("*.py")):
        name = str(path.relative_to(HOUSE))
        if "migrations" in name or "/demo/" in name or name in PROGRAMS:
            continue
        if hit := WRITES_ITSELF.search(NAMES.sub("", path.read_text(encoding="utf-8"))):
            found[name] = hit[0]
    assert found == {}
