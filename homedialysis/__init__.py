"""How the project is wired and run."""

from homedialysis.celery import app as celery_app

__all__ = ["celery_app"]
