"""What is possible but unusual is asked about once more before it is kept, on every form that takes numbers."""

from __future__ import annotations

from typing import Any

from homedialysis.accounts.pages.signing import fingerprint


class AsksAgain:
    """A form that asks "Is this right?". The answer is for exactly what was asked: other numbers are asked anew."""

    data: Any
    asked: list[str]
    asked_key = ""

    def unusual(self) -> list[str]:
        """What is unusual about valid numbers, in words."""
        return []

    def is_sure(self) -> bool:
        """Valid, and nothing unusual in it but what was confirmed; else `asked` says what is to be confirmed."""
        self.asked = []
        if not self.is_valid():  # type: ignore[attr-defined]
            return False
        words = self.unusual()
        key = fingerprint(words)
        if words and self.data.get("sure") != key:
            self.asked, self.asked_key = words, key
        return not self.asked
