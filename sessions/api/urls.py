from django.urls import path

from sessions.api import others, treatments

app_name = "api"
urlpatterns = [
    path("treatments/", treatments.TreatmentList.as_view(), name="treatments"),
    path("treatments/bulk/", treatments.TreatmentBulk.as_view(), name="treatments-bulk"),
    path("treatments/<uuid:record_id>/", treatments.TreatmentOne.as_view(), name="treatment"),
    path(
        "treatments/<uuid:record_id>/readings/",
        treatments.TreatmentReadings.as_view(),
        name="treatment-readings",
    ),
    path(
        "treatments/<uuid:record_id>/versions/",
        treatments.TreatmentVersions.as_view(),
        name="treatment-versions",
    ),
    path("prescriptions/current/", others.CurrentPrescription.as_view(), name="prescription"),
    path("limits/", others.Limits.as_view(), name="limits"),
    path("patients/", others.Patients.as_view(), name="patients"),
    path("bloods/", others.Bloods.as_view(), name="bloods"),
    path("devices/", others.Devices.as_view(), name="devices"),
    path("devices/<uuid:device_id>/", others.DeviceOne.as_view(), name="device"),
]
