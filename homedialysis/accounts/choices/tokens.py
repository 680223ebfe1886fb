"""What a token may be for. Patients read it too."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _


class TokenScope(models.TextChoices):
    """What a device or program may do with a token, of what its person may do."""

    READ = "read", _("Read records, numbers and bloods")
    WRITE = "write", _("Write treatments, water tests and counts")
    FHIR = "fhir", _("Read FHIR")
    BLOODS = "bloods", _("Hand in bloods")
