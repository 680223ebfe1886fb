"""A request must not wait for a broker that is down: measured against a real one that is stopped and frozen."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from celery import current_app

from alerts.services import waking
from homedialysis.local.broker import LocalBroker


@pytest.fixture
def broker(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[LocalBroker]:
    (tmp_path / "logs").mkdir()
    own = LocalBroker(tmp_path)
    own.start()
    monkeypatch.setitem(current_app.conf, "broker_url", own.url)
    monkeypatch.setitem(current_app.conf, "broker_write_url", own.url)
    monkeypatch.setattr(waking._State, "rests_until", 0.0)
    yield own
    if own.pid:
        os.kill(own.pid, signal.SIGCONT)
    own.stop()


def timed() -> tuple[bool, float]:
    start = time.perf_counter()
    return waking.wake(), time.perf_counter() - start


def test_stopped_it_is_given_up_at_once_and_left_alone(broker: LocalBroker) -> None:
    assert waking.wake()
    broker.stop()
    told, seconds = timed()
    assert not told
    assert seconds < 1
    told, seconds = timed()
    assert not told
    assert seconds < 0.05


def test_frozen_it_is_given_up_after_two_seconds_at_most(broker: LocalBroker) -> None:
    assert waking.wake()
    assert broker.pid
    os.kill(broker.pid, signal.SIGSTOP)
    told, seconds = timed()
    assert not told
    assert seconds < 2.5  # two tries of 0.8 s, on a busy machine


def test_a_restart_meanwhile_costs_no_call(broker: LocalBroker) -> None:
    assert waking.wake()
    broker.stop()
    broker.start()
    assert waking.wake()
