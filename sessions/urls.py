from django.urls import path

from sessions.pages import phone, unit

app_name = "treatments"
urlpatterns = [
    path("tonight/", phone.tonight, name="tonight"),
    path("record/", phone.record, name="record"),
    path("nights/", phone.nights, name="nights"),
    path("nights/<uuid:record_id>/versions/", unit.versions, name="versions"),
    path("patients/", unit.patients, name="patients"),
    path("patients/new/", unit.enrol, name="enrol"),
    path("patients/<uuid:patient_id>/invite/", unit.invite, name="invite"),
    path("patients/<uuid:patient_id>/access/", unit.access, name="access"),
    path("patients/<uuid:patient_id>/prescription/", unit.prescribe, name="prescribe"),
]
