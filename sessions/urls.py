from django.urls import path

from sessions.pages import access, bedside, devices, lists, messages, prescribing, surroundings, takeout, unit

app_name = "treatments"
urlpatterns = [
    path("tonight/", bedside.shell, name="tonight"),
    path("tonight/offline/", bedside.offline, name="offline"),
    path("sw.js", bedside.service_worker, name="service-worker"),
    path("manifest.webmanifest", bedside.manifest, name="manifest"),
    path("record/", bedside.record, name="record"),
    path("nights/", bedside.nights, name="nights"),
    path("nights/<uuid:record_id>/versions/", unit.versions, name="versions"),
    path("takeout/<uuid:patient_id>/record.json", takeout.whole_json, name="takeout-json"),
    path("takeout/<uuid:patient_id>/record.zip", takeout.whole_zip, name="takeout-zip"),
    path("takeout/<uuid:patient_id>/flow-sheet.pdf", takeout.flow_sheet, name="flow-sheet"),
    path("patients/", unit.patients, name="patients"),
    path("patients/new/", unit.enrol, name="enrol"),
    path("patients/<uuid:patient_id>/invite/", unit.invite, name="invite"),
    path("patients/<uuid:patient_id>/access/", access.access, name="access"),
    path("patients/<uuid:patient_id>/devices/", devices.devices, name="devices"),
    path(
        "patients/<uuid:patient_id>/devices/<uuid:bedside_id>/take-back/",
        devices.take_device_back,
        name="take-device-back",
    ),
    path("patients/<uuid:patient_id>/prescription/", prescribing.prescribe, name="prescribe"),
    path(
        "patients/<uuid:patient_id>/prescription/<int:version>/take-back/",
        prescribing.take_back_prescription,
        name="take-back",
    ),
    path(
        "patients/<uuid:patient_id>/prescription/drafts/<int:draft_id>/drop/",
        prescribing.drop_draft,
        name="drop-draft",
    ),
    path("patients/<uuid:patient_id>/surroundings/<slug:what>/", surroundings.note, name="surroundings-note"),
    path(
        "patients/<uuid:patient_id>/surroundings/<slug:what>/<slug:row>/",
        surroundings.change,
        name="surroundings-change",
    ),
    path("patients/<uuid:patient_id>/run-sheet/", lists.patient_run_sheet, name="patient-run-sheet"),
    path("patients/<uuid:patient_id>/messages/", messages.to_patient, name="messages"),
    path("unit/bedside/", lists.unit_texts, name="unit-texts"),
    path("unit/bedside/versions/<int:text_id>/", lists.text_version, name="text-version"),
    path("unit/bedside/run-sheets/<slug:technique>/", lists.run_sheet, name="run-sheet"),
    path("unit/bedside/<slug:kind>/", lists.unit_text, name="unit-text"),
    path("unit/surroundings/", surroundings.unit, name="surroundings-unit"),
    path("unit/surroundings/<slug:what>/", surroundings.note_unit, name="surroundings-unit-note"),
    path("unit/surroundings/<slug:what>/<slug:row>/", surroundings.change_unit, name="surroundings-unit-change"),
]
