"""The broker is down when a record comes in: the record is kept, and evaluated once the broker is back."""

from __future__ import annotations

import uuid

import pytest

from tests.end_to_end.product import Json, SmallDemo, Visitor, night

RULE = "arterial_low"


@pytest.mark.slow  # waits for the sweep, which comes once a minute
def test_a_record_is_accepted_without_the_broker_and_evaluated_after_its_return(
    product: SmallDemo, phone: Visitor
) -> None:
    record_id = str(uuid.uuid4())
    parts = product.parts()
    with product.broker_stopped():
        answer = phone.put(f"/api/v1/treatments/{record_id}/", night_with_a_strong_pull())
        assert answer.status == 201, answer.text
        assert answer.body["revision"] == 1
        again = phone.get(f"/api/v1/treatments/{record_id}/")
        assert again.body == answer.body
        assert product.waiting(record_id) == 1
        assert product.alerts(RULE, RULE) == []
    product.expect(lambda: bool(product.alerts(RULE, RULE)), "an alert for the arterial pressure")
    product.expect(lambda: product.waiting(record_id) == 0, "the evaluation is crossed off")
    ((state, evidence),) = product.alerts(RULE, RULE)
    assert state == "open"
    assert [(seen["record"], seen["value"]) for seen in evidence] == [(record_id, -310)]
    assert product.parts() == parts, "web, worker and beat are the processes from before"


def night_with_a_strong_pull() -> Json:
    """The pressure before the pump far under the -250 mmHg at which a nurse is called."""
    body = night(hours_ago=11)
    body["readings"][1]["arterial_mmhg"] = -310
    return body
