"""How the API's schema names our sign-in by device token."""

from __future__ import annotations

from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension


class DeviceTokenScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    target_class = "knox.auth.TokenAuthentication"
    name = "deviceToken"
    priority = 1

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {
            "type": "apiKey",
            "in": "header",
            "name": "Authorization",
            "description": "Token, a space, and the token of the device, as POST /api/v1/devices/ gave it.",
        }
