"""Whether the product is really at work: the sign-in page comes, and this run's worker answers."""

from __future__ import annotations

import json
from contextlib import closing
from http.client import HTTPConnection, HTTPException

from celery import Celery
from kombu.exceptions import KombuError
from redis.exceptions import RedisError

SIGN_IN = "/accounts/login/"


def pages_answer(port: int) -> bool:
    """The sign-in page is there, and the product itself says that it is ready."""
    page = _get(port, SIGN_IN)
    if page is None or b"</html>" not in page:
        return False
    state = _get(port, "/readyz")
    return state is not None and json.loads(state).get("ready") is True


def worker_answers(broker_url: str, name: str) -> bool:
    """Asked directly: a sign of life in the database may still be that of the run before."""
    with Celery(broker=broker_url, set_as_current=False) as app:
        try:
            return bool(app.control.inspect(destination=[name], timeout=1, limit=1).ping())
        except (OSError, KombuError, RedisError):  # the broker is not there, or went away
            return False


def _get(port: int, path: str) -> bytes | None:
    """The body of a 200, else None."""
    try:
        with closing(HTTPConnection("127.0.0.1", port, timeout=10)) as connection:
            connection.request("GET", path)
            answer = connection.getresponse()
            return answer.read() if answer.status == 200 else None
    except (OSError, HTTPException):
        return None
