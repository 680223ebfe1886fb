from django.urls import path

from dosing import pages

app_name = "dosing"
urlpatterns = [
    path("patients/<uuid:patient_id>/", pages.patient, name="patient"),
    path("patients/<uuid:patient_id>/bloods/", pages.bloods, name="bloods"),
    path("nights/<uuid:record_id>/", pages.night, name="night"),
    path("nights/<uuid:record_id>/numbers/<slug:key>/", pages.number, name="number"),
]
