from django.urls import path

from dosing.api import fhir as fhir_api
from dosing.api import importing as imports_api
from dosing.api import numbers
from dosing.pages import bloods, jobs, outcomes, patient, planner, reviews, surroundings, units, water_release
from dosing.pages import importing as imports
from dosing.pages import month as months

app_name = "dosing"
urlpatterns = [
    path("patients/<uuid:patient_id>/", patient.patient, name="patient"),
    path("patients/<uuid:patient_id>/bloods/", bloods.bloods, name="bloods"),
    path("patients/<uuid:patient_id>/bloods/<int:result_id>/", bloods.blood, name="blood"),
    path("patients/<uuid:patient_id>/urine/", bloods.urine, name="urine"),
    path("patients/<uuid:patient_id>/planner/", planner.planner, name="planner"),
    path("patients/<uuid:patient_id>/planner/expected/", planner.expected, name="planner-expected"),
    path("patients/<uuid:patient_id>/planner/draft/", planner.draft, name="planner-draft"),
    path("months/", months.month_board, name="months"),
    path("months/<str:month>/next/", months.next_review, name="next-review"),
    path("months/<str:month>/", months.month_board, name="month"),
    path("months/<str:month>/unit/", outcomes.report, name="unit-report"),
    path("patients/<uuid:patient_id>/outcomes/", outcomes.outcomes, name="outcomes"),
    path("patients/<uuid:patient_id>/outcomes/<slug:what>/<int:row>/", outcomes.outcome, name="outcome"),
    path("unit/bloods/", units.analyte_units, name="analyte-units"),
    path("ranges/", months.review_ranges, name="review-ranges"),
    path("patients/<uuid:patient_id>/months/<str:month>/review/", reviews.review, name="review"),
    path("patients/<uuid:patient_id>/months/<str:month>/review/review.pdf", reviews.as_pdf, name="review-pdf"),
    path("patients/<uuid:patient_id>/months/<str:month>/review/plan/", reviews.add_plan, name="review-plan"),
    path("patients/<uuid:patient_id>/months/<str:month>/review/sign/", reviews.sign, name="review-sign"),
    path("patients/<uuid:patient_id>/months/<str:month>/review/add/", reviews.add, name="review-add"),
    path("patients/<uuid:patient_id>/months/<str:month>/review/release/", reviews.release, name="review-release"),
    path("patients/<uuid:patient_id>/months/<str:month>/<slug:number_key>/", months.month_number, name="month-number"),
    path("plan/<int:plan_id>/done/", reviews.plan_done, name="plan-done"),
    path("letters/<uuid:patient_id>/", reviews.patient_letters, name="patient-letters"),
    path("jobs/", jobs.job_list, name="jobs"),
    path("jobs/progress/", jobs.progress, name="jobs-progress"),
    path("jobs/<int:job_id>/stop/", jobs.stop, name="job-stop"),
    path("jobs/<int:job_id>/go-on/", jobs.go_on, name="job-go-on"),
    path("jobs/<int:job_id>/file/", jobs.fetch, name="job-fetch"),
    path("bloods/imports/", imports.imports, name="imports"),
    path("bloods/imports/<int:import_id>/", imports.one_import, name="import"),
    path("bloods/imports/<int:import_id>/not-taken/", imports.rejects, name="import-rejects"),
    path("bloods/imports/<int:import_id>/original/", imports.original, name="import-original"),
    path("laboratories/new/", imports.laboratory, name="new-laboratory"),
    path("laboratories/<int:laboratory_id>/", imports.laboratory, name="laboratory"),
    path("api/v1/bloods/import/", imports_api.Imports.as_view(), name="api-imports"),
    path("api/v1/bloods/import/<int:import_id>/", imports_api.ImportOne.as_view(), name="api-import"),
    path("surroundings/", surroundings.everybody, name="surroundings-all"),
    path("patients/<uuid:patient_id>/surroundings/", surroundings.patient, name="surroundings"),
    path("patients/<uuid:patient_id>/water/release/", water_release.release, name="water-release"),
    path("api/v1/fhir/metadata", fhir_api.Metadata.as_view(), name="fhir-metadata"),
    path("api/v1/fhir/Patient/<uuid:patient_id>", fhir_api.PatientOne.as_view(), name="fhir-patient"),
    path("api/v1/fhir/Patient/<uuid:patient_id>/$everything", fhir_api.Everything.as_view(), name="fhir-everything"),
    path("api/v1/fhir/<str:fhir_kind>", fhir_api.Search.as_view(), name="fhir-search"),
    path("api/v1/fhir/<str:fhir_kind>/<str:fhir_key>", fhir_api.One.as_view(), name="fhir-read"),
    path("api/v1/fhir/<path:rest>", fhir_api.Nothing.as_view(), name="fhir-nothing"),
    path("nights/<uuid:record_id>/", patient.night, name="night"),
    path("nights/<uuid:record_id>/numbers/<slug:key>/", patient.number, name="number"),
    path("api/v1/treatments/<uuid:record_id>/numbers/", numbers.NightNumbers.as_view(), name="night-numbers"),
    path("api/v1/patients/<uuid:patient_id>/months/<str:month>/", numbers.MonthNumbers.as_view(), name="month-numbers"),
    path("api/v1/bedside/nights/<uuid:record_id>/answer/", numbers.NightAnswer.as_view(), name="answer"),
]
