"""An example for each request body; each is accepted as it stands for the demo's patient."""

from __future__ import annotations

from collections.abc import Mapping

from drf_spectacular.utils import OpenApiExample

from sessions.facts.fields import CHECK, EVENT, MEDICINE, READING, TREATMENT, Field

DEMO_PATIENT = "5f0c1a52-8d0e-4c57-9d0b-0a5be7a10001"
"""The id of the demo's first patient, so that the examples below speak of somebody who is there."""


def likely(fields: Mapping[str, Field]) -> dict[str, float]:
    """A likely value for every declared number."""
    return {key: field.likely for key, field in fields.items()}


_BODY = {
    "status": "finished",
    "started_at": "2026-11-20T21:40:00Z",
    "ended_at": "2026-11-21T01:42:00Z",
    **likely(TREATMENT),
    "plan_choice": "as_prescribed",
    "dialyser_look": "few_fibres",
    "blood_return": "whole",
    "early_reason": "",
    "disinfected": True,
    "checks": [
        {
            "name": "Total chlorine",
            "key": "chlorine",
            "part": "setup",
            "passed": True,
            **likely(CHECK),
            "unit": "mg/L",
            "at": "2026-11-20T20:55:00Z",
        },
        {
            "name": "Leak sensor at the needles",
            "key": "leak",
            "part": "setup",
            "passed": False,
            "overruled": True,
            "reason": "Battery empty; the unit on call said to go on, awake, with the line in sight.",
        },
    ],
    "steps": [{"at": "2026-11-20T21:25:00Z", "key": "wash", "words": "Wash the access arm"}],
    "readings": [
        {
            "at": "2026-11-20T22:00:00Z",
            **likely(READING),
        },
        {"at": "2026-11-21T00:00:00Z", "qb_ml_min": 300, "arterial_mmhg": -145, "venous_mmhg": 140},
    ],
    "events": [
        {"at": "2026-11-21T00:30:00Z", "kind": "cramp", "note": "Left calf, went off by itself.", **likely(EVENT)}
    ],
    "medicines": [{"at": "2026-11-20T21:42:00Z", "name": "Heparin", **likely(MEDICINE), "unit": "[iU]"}],
    "notes": "Slept well.",
}

NIGHT = OpenApiExample("A finished treatment", value=_BODY, request_only=True)
LATE_READINGS = OpenApiExample(
    "A reading that was written on paper",
    value={
        "readings": [
            {
                "at": "2026-11-20T23:00:00Z",
                "qb_ml_min": 300,
                "venous_mmhg": 138,
                "systolic": 128,
                "diastolic": 74,
            }
        ]
    },
    request_only=True,
)
BULK = OpenApiExample(
    "Two nights",
    value={
        "treatments": [
            {
                "id": "0b8e3c1e-64a7-4b8e-9c55-1f0e6f1d2001",
                "status": "finished",
                "started_at": "2026-11-16T21:30:00Z",
                "ended_at": "2026-11-17T01:30:00Z",
                "pre_weight_kg": 72.1,
                "post_weight_kg": 70.1,
                "uf_removed_l": 2.3,
            },
            {
                "id": "0b8e3c1e-64a7-4b8e-9c55-1f0e6f1d2002",
                "status": "finished",
                "started_at": "2026-11-18T21:30:00Z",
                "ended_at": "2026-11-19T01:20:00Z",
                "pre_weight_kg": 71.9,
                "post_weight_kg": 70.0,
                "uf_removed_l": 2.2,
            },
        ]
    },
    request_only=True,
)
BLOODS = OpenApiExample(
    "Urea before and after",
    value={
        "results": [
            {
                "patient": DEMO_PATIENT,
                "analyte": "22664-7",
                "value": 22.4,
                "drawn_at": "2026-11-20T21:35:00Z",
                "timing": "pre",
            },
            {
                "patient": DEMO_PATIENT,
                "analyte": "22664-7",
                "value": 7.1,
                "drawn_at": "2026-11-21T01:42:00Z",
                "timing": "post",
                "post_method": "slow_flow",
            },
        ]
    },
    request_only=True,
)
DEVICE = OpenApiExample(
    "A tablet at the bedside", value={"name": "Bedside tablet", "scopes": ["read", "write"]}, request_only=True
)
SEEN = OpenApiExample("Seen just now", value={"at": "2026-11-20T20:40:00Z"}, request_only=True)
NOT_HANDED_OVER = OpenApiExample(
    "A night that is too large for something on the way",
    value={
        "what": "treatment",
        "started_at": "2026-11-20T21:30:00Z",
        "status": 413,
        "tries": 1,
        "since": "2026-11-21T02:10:00Z",
    },
    request_only=True,
)
LEFT_OUT = OpenApiExample(
    "Not tonight",
    value={"day": "2026-11-20", "reason": "ill", "at": "2026-11-20T18:00:00Z"},
    request_only=True,
)
COPIES = OpenApiExample(
    "One treatment is kept on the phone",
    value={"copies": {"5f0c1a52-7d0e-4c47-9b6e-0d7f3d6a2b11": '"3-64f1c2a9be300"'}},
    request_only=True,
)
ACKNOWLEDGEMENT = OpenApiExample(
    "The first version was read", value={"version": 1, "at": "2026-11-20T20:41:00Z"}, request_only=True
)
