from django.apps import AppConfig


class TreatmentsConfig(AppConfig):
    # Django's own session app owns the label "sessions"; tables, permissions and migrations follow ours.
    name = "sessions"
    label = "treatment"
    verbose_name = "Treatments"
