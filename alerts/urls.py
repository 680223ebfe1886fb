from django.urls import path

from alerts.pages import alert, limits, machinery, triage

app_name = "alerts"
urlpatterns = [
    path("triage/", triage.triage, name="triage"),
    path("triage/list/", triage.triage_list, name="triage-list"),
    path("triage/closed/", triage.closed, name="closed"),
    path("alerts/<int:alert_id>/", alert.detail, name="detail"),
    path("alerts/<int:alert_id>/seen/", alert.seen, name="seen"),
    path("alerts/<int:alert_id>/note/", alert.note, name="note"),
    path("alerts/<int:alert_id>/close/", alert.close, name="close"),
    path("limits/", limits.unit_limits, name="unit-limits"),
    path("patients/<uuid:patient_id>/limits/", limits.limits, name="limits"),
    path("patients/<uuid:patient_id>/alerts/", alert.of_patient, name="of-patient"),
    path("nights/<uuid:record_id>/alerts/", alert.of_record, name="of-record"),
    path("put-aside/", machinery.put_aside, name="put-aside"),
    path("put-aside/<int:pending_id>/", machinery.try_again, name="try-again"),
    path("heartbeat/", machinery.heartbeat, name="heartbeat"),
]
