from django.apps import AppConfig
from django.utils.translation import gettext_lazy


class AlertsConfig(AppConfig):
    name = "alerts"
    verbose_name = "Alerts"

    def ready(self) -> None:
        from alerts import receivers  # noqa: F401  (both connect themselves)
        from alerts.services import celery_heartbeat  # noqa: F401  (both connect themselves)
        from alerts.services.bedside_kit import looked_at, low_pressure
        from alerts.services.open_counts import open_alerts
        from alerts.services.who_has_looked import look_at
        from alerts.showing.of_a_month import lines_of_month
        from dosing.services.month.beside import register_lines
        from dosing.services.month.board import register_counter
        from dosing.services.night.night_answer import look_of
        from sessions.services.kit import register_known, register_part

        look_of.append(look_at)
        register_part("alerts", looked_at)
        register_known("alerts", low_pressure)
        register_lines("alerts", lines_of_month)
        register_counter("alerts", gettext_lazy("Open alerts, cause not gone"), open_alerts)
