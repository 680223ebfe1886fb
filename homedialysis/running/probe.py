"""Is this container's process well? For the health checks of the image: exit code 0 says yes.

python -m homedialysis.running.probe web|worker|beat
"""

from __future__ import annotations

import os
import socket
import sys
import time
from collections.abc import Callable
from contextlib import closing
from http.client import HTTPConnection, HTTPException
from pathlib import Path
from urllib.parse import urlsplit

BEAT_SILENCE = 150.0
"""Seconds: beat notes each task it sends, and it sends one every 30 seconds."""


def web() -> str | None:
    """What is wrong with the web server of this container, asked as the proxy would; None when nothing."""
    headers = {"Host": urlsplit(os.environ["SITE_ADDRESS"]).netloc, "X-Forwarded-Proto": "https"}
    try:
        with closing(HTTPConnection("127.0.0.1", int(os.environ.get("PORT", "8000")), timeout=5)) as connection:
            connection.request("GET", "/healthz", headers=headers)
            status = connection.getresponse().status
    except (OSError, HTTPException) as problem:
        return f"the web server does not answer: {problem}"
    return None if status == 200 else f"the web server answers {status}"


def worker() -> str | None:
    """What is wrong with the worker of this container, asked through the broker."""
    from homedialysis.celery import app

    name = f"celery@{socket.gethostname()}"
    try:
        replies = app.control.inspect(destination=[name], timeout=3, limit=1).ping()
    except OSError as problem:  # kombu's errors of a lost broker are such
        return f"the broker cannot be reached: {problem}"
    return None if replies and name in replies else f"{name} does not answer"


def beat() -> str | None:
    """What is wrong with beat in this container, read from the file in which it notes what it sent."""
    base = Path(os.environ["BEAT_SCHEDULE_FILE"])
    times = [path.stat().st_mtime for path in base.parent.glob(f"{base.name}*")]
    if not times:
        return f"there is no schedule file {base}"
    silence = time.time() - max(times)
    return None if silence < BEAT_SILENCE else f"beat has sent nothing for {silence:.0f} seconds"


PROBES: dict[str, Callable[[], str | None]] = {"web": web, "worker": worker, "beat": beat}


def main(arguments: list[str]) -> int:
    if len(arguments) != 1 or arguments[0] not in PROBES:
        sys.stderr.write(f"Say which: {', '.join(PROBES)}\n")
        return 2
    wrong = PROBES[arguments[0]]()
    if wrong:
        sys.stderr.write(f"{wrong}\n")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
