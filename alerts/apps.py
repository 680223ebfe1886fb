from django.apps import AppConfig


class AlertsConfig(AppConfig):
    name = "alerts"
    verbose_name = "Alerts"

    def ready(self) -> None:
        from alerts import receivers, signs  # noqa: F401  (both connect themselves)
        from alerts.counting import open_alerts
        from alerts.kit_parts import looked_at
        from alerts.services.looking import look_at
        from dosing.answering import look_of
        from dosing.month.board import register_counter
        from sessions.services.kit import register_part

        look_of.append(look_at)
        register_part("alerts", looked_at)
        register_counter("Open alerts", open_alerts)
