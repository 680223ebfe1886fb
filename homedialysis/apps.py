from django.apps import AppConfig


class HomedialysisConfig(AppConfig):
    name = "homedialysis"
    verbose_name = "Home dialysis"

    def ready(self) -> None:
        from homedialysis.running import checks  # noqa: F401  (both register themselves)
        from homedialysis.web import openapi  # noqa: F401  (both register themselves)
