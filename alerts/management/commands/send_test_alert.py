"""manage.py send_test_alert: does a message really reach somebody? Sends at once and says what the servers said."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from alerts.models import AlertMessage
from alerts.services import delivery, sending
from alerts.services.escalation import send_test
from homedialysis.accounts.models import BEDSIDE_ROLES, User


class Command(BaseCommand):
    help = "Send a test message by e-mail, and to every signed-up browser, to one member of the team."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("email", help="the e-mail address the person signs in with")

    def handle(self, *args: Any, **options: Any) -> None:
        team = User.objects.exclude(role__in=BEDSIDE_ROLES).filter(is_active=True)
        person = team.filter(email=options["email"].lower()).first()
        if person is None:
            raise CommandError(f"Nobody of the team signs in with {options['email']}.")
        done = [self._sent(row) for row in send_test(person, at=timezone.now())]
        if not all(done):
            raise CommandError("Not everything was sent.")

    def _sent(self, row: AlertMessage) -> bool:
        claimed = delivery.claim(at=timezone.now(), only=row)
        if claimed is None:
            self.stdout.write(f"{row}: a worker has it; see the page of messages.")
            return True
        delivery.note(claimed, sending.send(claimed), at=timezone.now())
        self.stdout.write(f"{claimed}: {claimed.answer_words}")
        return claimed.sent_at is not None
