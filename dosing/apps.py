from django.apps import AppConfig


class DosingConfig(AppConfig):
    name = "dosing"
    verbose_name = "Dose"
