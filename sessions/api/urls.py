from django.urls import path

from sessions.api import bedside, others, surroundings, treatments
from sessions.api.bedside_devices import BedsideDeviceState

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
    path("bedside/", bedside.Kit.as_view(), name="bedside"),
    path("bedside/copies/", bedside.Copies.as_view(), name="bedside-copies"),
    path("bedside/acknowledge/", bedside.Acknowledge.as_view(), name="bedside-acknowledge"),
    path("bedside/left-out/<uuid:said_id>/", bedside.LeftOutAt.as_view(), name="bedside-left-out"),
    path(
        "bedside/not-handed-over/<uuid:entry_id>/",
        bedside.NotHandedOverAt.as_view(),
        name="bedside-not-handed-over",
    ),
    path(
        "bedside/messages/<int:message_id>/seen/",
        bedside.MessageSeenAt.as_view(),
        name="bedside-message-seen",
    ),
    path("prescriptions/current/", others.CurrentPrescription.as_view(), name="prescription"),
    path("limits/", others.Limits.as_view(), name="limits"),
    path("patients/", others.Patients.as_view(), name="patients"),
    path("bloods/", others.Bloods.as_view(), name="bloods"),
    path("medications/", others.Medications.as_view(), name="medications"),
    path("bedside/water/", surroundings.WaterTests.as_view(), name="water"),
    path("bedside/counts/", surroundings.SupplyCounts.as_view(), name="counts"),
    path("bedside/done/", surroundings.TasksDone.as_view(), name="done"),
    path("devices/", others.Devices.as_view(), name="devices"),
    path("devices/bedside/<uuid:device_id>/", BedsideDeviceState.as_view(), name="bedside-device"),
    path("devices/<uuid:device_id>/", others.DeviceOne.as_view(), name="device"),
]
