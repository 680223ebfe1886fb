"""The world around Ana for one test, and one walk through every address for all of them."""

from __future__ import annotations

import pytest
from django.db import transaction
from pytest_django import DjangoDbBlocker

from tests.access.walking import Walk, walk
from tests.access.world import World, build_world


@pytest.fixture
def world(db: None) -> World:
    return build_world()


@pytest.fixture(scope="session")
def walked(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Walk:
    """What every address answered each role."""
    with django_db_blocker.unblock(), transaction.atomic():
        found = walk()
        transaction.set_rollback(True)
    return found
