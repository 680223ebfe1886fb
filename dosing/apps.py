from django.apps import AppConfig


class DosingConfig(AppConfig):
    name = "dosing"
    verbose_name = "Dose"

    def ready(self) -> None:
        from dosing.services import jobs
        from dosing.services.decision import report
        from dosing.services.fhir import export
        from dosing.services.night.bedside_kit import computed, names, water_held
        from dosing.services.results.water import judge_in_use
        from sessions.services import surroundings_facts
        from sessions.services.kit import register_known, register_names, register_part

        register_part("dosing", computed)
        register_names("dosing", names)
        register_known("dosing", water_held)
        surroundings_facts.register_judge(judge_in_use)
        _listen()
        jobs.register_kind("reports", report.keys, report.part)
        jobs.register_kind("export", export.keys, export.part)


def _listen() -> None:
    from django.db.models.signals import post_save

    from dosing import receivers
    from sessions import signals
    from sessions.models import HospitalStay, LeftOut, Patient, UrineCollection

    signals.treatment_recorded.connect(receivers.on_treatment, dispatch_uid="month of a treatment")
    signals.bloods_entered.connect(receivers.on_bloods, dispatch_uid="month of bloods")
    signals.prescription_signed.connect(receivers.on_prescription, dispatch_uid="month of a prescription")
    signals.surroundings_noted.connect(receivers.on_surroundings, dispatch_uid="month of surroundings")
    post_save.connect(receivers.on_stay, sender=HospitalStay, dispatch_uid="month of a stay")
    post_save.connect(receivers.on_left_out, sender=LeftOut, dispatch_uid="month of a day left out")
    post_save.connect(receivers.on_patient, sender=Patient, dispatch_uid="months of a patient")
    post_save.connect(receivers.on_urine, sender=UrineCollection, dispatch_uid="month of urine")
