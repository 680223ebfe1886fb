from django.urls import path

from dosing import api, blood_pages, job_pages, pages, pages_around
from dosing.fhir import api as fhir_api
from dosing.importing import api as imports_api
from dosing.importing import pages as imports
from dosing.month import outcome_pages
from dosing.month import pages as months
from dosing.planner import pages as planner

app_name = "dosing"
urlpatterns = [
    path("patients/<uuid:patient_id>/", pages.patient, name="patient"),
    path("patients/<uuid:patient_id>/bloods/", blood_pages.bloods, name="bloods"),
    path("patients/<uuid:patient_id>/urine/", blood_pages.urine, name="urine"),
    path("patients/<uuid:patient_id>/planner/", planner.planner, name="planner"),
    path("patients/<uuid:patient_id>/planner/draft/", planner.draft, name="planner-draft"),
    path("months/", months.month_board, name="months"),
    path("months/<str:month>/", months.month_board, name="month"),
    path("months/<str:month>/unit/", outcome_pages.report, name="unit-report"),
    path("patients/<uuid:patient_id>/outcomes/", outcome_pages.outcomes, name="outcomes"),
    path("patients/<uuid:patient_id>/outcomes/<slug:what>/<int:row>/", outcome_pages.outcome, name="outcome"),
    path("ranges/", months.review_ranges, name="review-ranges"),
    path("patients/<uuid:patient_id>/months/<str:month>/review/", months.review, name="review"),
    path("patients/<uuid:patient_id>/months/<str:month>/review/review.pdf", months.review_file, name="review-pdf"),
    path("patients/<uuid:patient_id>/months/<str:month>/review/plan/", months.review_plan, name="review-plan"),
    path("patients/<uuid:patient_id>/months/<str:month>/review/sign/", months.review_sign, name="review-sign"),
    path("patients/<uuid:patient_id>/months/<str:month>/review/add/", months.review_add, name="review-add"),
    path("patients/<uuid:patient_id>/months/<str:month>/review/release/", months.review_release, name="review-release"),
    path("patients/<uuid:patient_id>/months/<str:month>/<slug:number_key>/", months.month_number, name="month-number"),
    path("plan/<int:plan_id>/done/", months.plan_done, name="plan-done"),
    path("told/<uuid:patient_id>/", months.told, name="told"),
    path("jobs/", job_pages.job_list, name="jobs"),
    path("jobs/progress/", job_pages.progress, name="jobs-progress"),
    path("jobs/<int:job_id>/stop/", job_pages.stop, name="job-stop"),
    path("jobs/<int:job_id>/go-on/", job_pages.go_on, name="job-go-on"),
    path("jobs/<int:job_id>/file/", job_pages.fetch, name="job-fetch"),
    path("bloods/imports/", imports.imports, name="imports"),
    path("bloods/imports/<int:import_id>/", imports.one_import, name="import"),
    path("bloods/imports/<int:import_id>/not-taken/", imports.rejects, name="import-rejects"),
    path("bloods/imports/<int:import_id>/original/", imports.original, name="import-original"),
    path("laboratories/new/", imports.laboratory, name="new-laboratory"),
    path("laboratories/<int:laboratory_id>/", imports.laboratory, name="laboratory"),
    path("api/v1/bloods/import/", imports_api.Imports.as_view(), name="api-imports"),
    path("api/v1/bloods/import/<int:import_id>/", imports_api.ImportOne.as_view(), name="api-import"),
    path("around/", pages_around.everybody, name="around-all"),
    path("patients/<uuid:patient_id>/around/", pages_around.patient, name="around"),
    path("api/v1/fhir/metadata", fhir_api.Metadata.as_view(), name="fhir-metadata"),
    path("api/v1/fhir/Patient/<uuid:patient_id>", fhir_api.PatientOne.as_view(), name="fhir-patient"),
    path("api/v1/fhir/Patient/<uuid:patient_id>/$everything", fhir_api.Everything.as_view(), name="fhir-everything"),
    path("api/v1/fhir/<str:fhir_kind>", fhir_api.Search.as_view(), name="fhir-search"),
    path("api/v1/fhir/<str:fhir_kind>/<str:fhir_key>", fhir_api.One.as_view(), name="fhir-read"),
    path("nights/<uuid:record_id>/", pages.night, name="night"),
    path("nights/<uuid:record_id>/numbers/<slug:key>/", pages.number, name="number"),
    path("api/v1/bedside/nights/<uuid:record_id>/answer/", api.NightAnswer.as_view(), name="answer"),
]
