from django.apps import AppConfig


class AlertsConfig(AppConfig):
    name = "alerts"
    verbose_name = "Alerts"

    def ready(self) -> None:
        from alerts import receivers, signs  # noqa: F401  (both connect themselves)
