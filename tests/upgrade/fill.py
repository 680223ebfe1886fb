"""The difficult lives and their month, through the services: manage.py shell < tests/upgrade/fill.py"""

from __future__ import annotations

from datetime import UTC, datetime

import time_machine

from homedialysis.demo.lives import LIVES
from homedialysis.demo.seeding import SeedingPlan, seed

UNTIL = datetime(2026, 4, 1, 9, 30, tzinfo=UTC)

with time_machine.travel(UNTIL, tick=False):
    seed(SeedingPlan(seed=7, until=UNTIL, days=31, members=LIVES, watched=False))
