from django.apps import AppConfig


class HomedialysisConfig(AppConfig):
    name = "homedialysis"
    verbose_name = "Home dialysis"

    def ready(self) -> None:
        from homedialysis import checks, openapi  # noqa: F401  (both register themselves)
