"""A pytest plugin: a throwaway PostgreSQL and broker for the run, unless the environment names others.

Loaded by `-p homedialysis.local.pytest_plugin`, before the settings are read. It lies here and not under
tests/ because an installed package may own the top-level name `tests`, and would then win.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from homedialysis.local.servers import LocalServersError, throwaway_servers

NAMES = ("DATABASE_URL", "BROKER_URL")
FOLDER = pytest.StashKey[Path]()
"""Of the servers that this process started."""


@pytest.hookimpl(wrapper=True, tryfirst=True)  # a wrapper comes before pytest-django, which reads the settings
def pytest_load_initial_conftests(early_config: pytest.Config) -> Iterator[None]:
    """With several test processes only the first gets here without addresses: the others inherit them."""
    given = [name for name in NAMES if os.environ.get(name)]
    if len(given) == 1:
        raise pytest.UsageError(f"Only {given[0]} is set: set both {' and '.join(NAMES)}, or neither")
    if not given:
        _start(early_config)
    yield


@pytest.hookimpl(tryfirst=True)
def pytest_configure(config: pytest.Config) -> None:
    """For root the tests' temporary folders go below the servers' own.

    pytest closes /tmp/pytest-of-root to other accounts at the start of every run. A PostgreSQL that another
    run's test is just starting there, not as root, would find its way barred.
    """
    if os.geteuid() == 0 and FOLDER in config.stash and not config.option.basetemp:
        config.option.basetemp = str(config.stash[FOLDER] / "pytest")


def _start(config: pytest.Config) -> None:
    stack = ExitStack()
    try:
        servers = stack.enter_context(throwaway_servers())
    except LocalServersError as problem:
        raise pytest.UsageError(str(problem)) from problem
    os.environ.update(servers.environment)
    for name in NAMES:
        stack.callback(os.environ.pop, name, None)
    config.stash[FOLDER] = servers.folder.path
    config.add_cleanup(stack.close)
