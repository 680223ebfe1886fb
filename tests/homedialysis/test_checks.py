"""Start-up checks: each speaks when its fault is there, with a hint, and is silent when it is not."""

from __future__ import annotations

import pytest
from django.conf import LazySettings
from django.core import checks as django_checks

from homedialysis.running import checks


def test_an_address_without_tls_is_an_error(settings: LazySettings) -> None:
    settings.SITE_ADDRESS = "http://unit.example"
    (found,) = checks.site_address_is_https(None)
    assert (found.id, found.level) == ("homedialysis.E001", django_checks.ERROR)
    assert "http://unit.example" in found.msg
    assert found.hint
    settings.SITE_ADDRESS = "https://unit.example"
    assert checks.site_address_is_https(None) == []


def test_mail_that_only_goes_to_the_log_is_a_warning(settings: LazySettings) -> None:
    settings.EMAIL_HOST = ""
    (found,) = checks.mail_can_be_sent(None)
    assert (found.id, found.level) == ("homedialysis.W001", django_checks.WARNING)
    assert found.hint
    settings.EMAIL_HOST = "mail.example"
    assert checks.mail_can_be_sent(None) == []


def test_every_check_of_the_project_is_run_at_deployment_and_tested_here(settings: LazySettings) -> None:
    settings.SITE_ADDRESS, settings.EMAIL_HOST = "http://x", ""
    found = {message.id for message in django_checks.run_checks(include_deployment_checks=True)}
    assert {each for each in found if each and each.startswith("homedialysis.")} == {
        "homedialysis.E001",
        "homedialysis.W001",
    }
    ours = {name for name, value in vars(checks).items() if getattr(value, "__module__", "") == checks.__name__}
    tested = {"site_address_is_https", "mail_can_be_sent", "schema_fits_code"}  # the last in test_health.py
    assert ours == tested, "a new check wants a test"


@pytest.mark.django_db
def test_without_deployment_nothing_is_found() -> None:
    assert django_checks.run_checks() == []
