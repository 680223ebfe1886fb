"""What a benchmark stands on that needs the product: a database and a broker of its own, and our tests as a package."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from types import ModuleType

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))


@contextmanager
def own_servers(environment: Mapping[str, str] | None = None) -> Iterator[None]:
    """Django set up on servers that are gone afterwards, all tables made; environment: what else it should find set."""
    from homedialysis.local.servers import throwaway_servers

    with throwaway_servers() as servers:
        os.environ.update({**(environment or {}), **servers.environment})
        set_up()
        from django.core.management import call_command

        call_command("migrate", verbosity=0)
        yield


def set_up() -> None:
    """Our tests as a package, whatever of that name is installed, and Django on the servers of the environment."""
    package = ModuleType("tests")
    package.__path__ = [str(ROOT / "tests")]
    sys.modules["tests"] = package
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "homedialysis.settings")
    import django

    django.setup()
