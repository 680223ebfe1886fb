"""The same blood results of two invented people, as three laboratories would send them."""

from __future__ import annotations

import json
from typing import Any

DRAWN = "2026-03-02 21:00"
HEAD = "identifier,birth_date,code,name,value,unit,drawn_at,timing,reference,flag,specimen,version,status"

GOOD = "HD-A,1970-02-03,2823-3,Potassium,5.4,mmol/L,2026-03-02 21:00,before,3.5-5.1,H,S1,1,final"
GOOD_BUN = "HD-A,1970-02-03,3094-0,Urea nitrogen,56,mg/dL,2026-03-02 21:00,before,,,S2,1,final"
DUPLICATE = "HD-A,1970-02-03,2951-2,Sodium,138,mmol/L,2026-03-02 21:00,before,,,S3,1,final"
CORRECTED = "HD-A,1970-02-03,1751-7,Albumin,38,g/L,2026-03-02 21:00,before,,,S4,2,corrected"
WRONG_UNIT = "HD-A,1970-02-03,718-7,Haemoglobin,11.2,g/L,2026-03-02 21:00,before,,,S5,1,final"
CONTRADICTION = "HD-A,1970-02-03,22664-7,Urea,56,mg/dL,2026-03-02 21:00,before,,,S6,1,final"
WRONG_DAY = "HD-A,1970-02-04,2823-3,Potassium,6.9,mmol/L,2026-03-02 21:00,before,,,S7,1,final"
STRANGER = "HD-Z,1970-02-03,2823-3,Potassium,6.9,mmol/L,2026-03-02 21:00,before,,,S8,1,final"
BOUND = "HD-A,1970-02-03,2276-4,Ferritin,>2000,ug/L,2026-03-02 21:00,before,,,S9,1,final"

LINES = [GOOD, GOOD_BUN, DUPLICATE, CORRECTED, WRONG_UNIT, CONTRADICTION, WRONG_DAY, STRANGER, BOUND]
VERDICTS = ["new", "new", "there", "corrects", "asks", "rejected", "rejected", "rejected", "new"]


def cells(line: str) -> dict[str, str]:
    return dict(zip(HEAD.split(","), line.split(","), strict=True))


def csv_file(lines: list[str] = LINES, head: str = HEAD) -> bytes:
    return "\r\n".join([head, *lines, ""]).encode()


def hl7_file(lines: list[str] = LINES) -> bytes:
    """A message for each line: each has its own patient and its own time of sending, which is its version."""
    return "".join(_oru(cells(line), at) for at, line in enumerate(lines)).encode()


def _oru(cell: dict[str, str], at: int) -> str:
    number = cell["value"]
    kind, value = ("SN", f">^{number[1:]}") if number.startswith(">") else ("NM", number)
    state = {"final": "F", "corrected": "C"}[cell["status"]]
    code = f"{cell['code']}^{cell['name']}^LN"
    segments = [
        f"MSH|^~\\&|LAB|QUILL|UNIT|QUILL|2026030{2 + int(cell['version'])}120000||ORU^R01^ORU_R01|M{at}|P|2.5.1",
        f"PID|1||{cell['identifier']}^^^UNIT^MR||Invented^Name||{cell['birth_date'].replace('-', '')}",
        f"OBR|1||F{at}|24323-8^Panel^LN|||20260302210000+0000",
        f"OBX|1|{kind}|{code}||{value}|{cell['unit']}^^UCUM|{cell['reference']}|{cell['flag']}|||{state}",
        f"SPM|1|{cell['specimen']}",
    ]
    return "\r".join(segments) + "\r"


def fhir_file(lines: list[str] = LINES) -> bytes:
    people: dict[tuple[str, str], str] = {}
    entries: list[dict[str, Any]] = []
    for line in lines:
        cell = cells(line)
        key = (cell["identifier"], cell["birth_date"])
        url = people.setdefault(key, f"urn:uuid:00000000-0000-4000-8000-{len(people):012d}")
        entries.append({"resource": _observation(cell, url)})
    patients = [
        {
            "fullUrl": url,
            "resource": {
                "resourceType": "Patient",
                "id": f"p{at}",
                "identifier": [{"system": "urn:example:unit", "value": number}],
                "birthDate": born,
            },
        }
        for at, ((number, born), url) in enumerate(people.items())
    ]
    return json.dumps({"resourceType": "Bundle", "type": "collection", "entry": patients + entries}).encode()


def _observation(cell: dict[str, str], subject: str) -> dict[str, Any]:
    quantity: dict[str, Any] = {"unit": cell["unit"], "system": "http://unitsofmeasure.org", "code": cell["unit"]}
    if cell["value"].startswith(">"):
        quantity |= {"comparator": ">", "value": float(cell["value"][1:])}
    else:
        quantity["value"] = float(cell["value"])
    return {
        "resourceType": "Observation",
        "meta": {"versionId": cell["version"]},
        "status": cell["status"],
        "code": {"coding": [{"system": "http://loinc.org", "code": cell["code"], "display": cell["name"]}]},
        "subject": {"reference": subject},
        "effectiveDateTime": "2026-03-02T21:00:00Z",
        "valueQuantity": quantity,
        "specimen": {"identifier": {"value": cell["specimen"]}},
        "interpretation": [{"coding": [{"code": cell["flag"] or "N"}]}],
        "referenceRange": [{"text": cell["reference"] or "none"}],
    }
