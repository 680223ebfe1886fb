"""The record as FHIR R4 (4.0.1) resources: read only, for one patient, and all of a unit as NDJSON."""
