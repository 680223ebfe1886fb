"""One running product for all tests of this folder, and the phone of the demo's patient.

No test here may query through Django's models: their database is another one.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator

import pytest

from homedialysis.demo.people import PASSWORD, PATIENT_EMAIL
from tests.end_to_end.product import SmallDemo, Visitor, all_end


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """A failed test shows what the product wrote."""
    report = yield
    product = getattr(item, "funcargs", {}).get("product")
    if report.failed and isinstance(product, SmallDemo):
        report.sections += product.log_ends()
    return report


@pytest.fixture(scope="session")
def product(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SmallDemo]:
    """Web, worker, beat, PostgreSQL and broker; none of their processes is left afterwards."""
    with SmallDemo(tmp_path_factory.mktemp("product") / "data") as running:
        running.start()
        yield running
        family = running.processes()
    assert all_end(family), "a process of the product outlives it"


@pytest.fixture(scope="session")
def phone(product: SmallDemo) -> Visitor:
    """Holds a device token that the patient got by signing in."""
    patient = Visitor(product.address)
    patient.sign_in(PATIENT_EMAIL, PASSWORD)
    answer = patient.post("/api/v1/devices/", {"name": "Bedside tablet", "scopes": ["read", "write"]})
    assert answer.status == 201, answer.text
    return Visitor(product.address, token=answer.body["token"])
