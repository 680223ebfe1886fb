"""How the API's schema names our sign-in by device token."""

from __future__ import annotations

from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension


class DeviceTokenScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    target_class = "homedialysis.accounts.services.tokens.ScopedTokens"
    name = "deviceToken"
    priority = 1

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {
            "type": "apiKey",
            "in": "header",
            "name": "Authorization",
            "description": (
                "Token, a space, and the token of the device, as POST /api/v1/devices/ gave it. A token does only "
                "what its scopes name: read, write, fhir, bloods."
            ),
        }


def refusals_in_their_own_form(result: dict[str, Any], **_given: Any) -> dict[str, Any]:
    """What is no is answered as problem details, whatever the answer is otherwise written in."""
    for path in result.get("paths", {}).values():
        for operation in path.values():
            for code, answer in operation.get("responses", {}).items():
                content = answer.get("content", {})
                if code >= "400" and "application/json" in content:
                    content["application/problem+json"] = content.pop("application/json")
    return result


def parts_that_may_be_missing(result: dict[str, Any], **_given: Any) -> dict[str, Any]:
    """A part that may be null is this shape or null: OpenAPI 3.0 lets no null through beside an allOf.

    Source: OpenAPI Specification 3.0.3, clarification of `nullable` (proposal 2019-10-31).
    """
    for shape in result.get("components", {}).get("schemas", {}).values():
        for part in shape.get("properties", {}).values():
            if part.get("nullable") and "allOf" in part:
                del part["nullable"]
                part["oneOf"] = [*part.pop("allOf"), {"enum": [None]}]
    return result
