"""The shapes in which programs are told of computed numbers, for the schema."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from dosing.services.numbers.standing import Standing


class ReasonShape(serializers.Serializer[Any]):
    """code: of the science, stays the same; words: in the language of the one who asks."""

    code = serializers.CharField()
    words = serializers.CharField()


class IntervalShape(serializers.Serializer[Any]):
    """Where the true value lies with this probability, in the unit of the number."""

    low = serializers.FloatField()
    high = serializers.FloatField()
    level = serializers.FloatField(help_text="0 to 1")


class InputShape(serializers.Serializer[Any]):
    """symbol: as in the equation, empty where it only says how something was done."""

    symbol = serializers.CharField(allow_blank=True)
    name = serializers.CharField()
    value = serializers.JSONField(help_text="A number, a list of numbers, words, or null where it is not known.")
    unit = serializers.CharField(allow_blank=True)

    def get_fields(self) -> dict[str, Any]:
        """Also "from", which no attribute can be called: where it comes from, in words."""
        return super().get_fields() | {"from": serializers.CharField(allow_blank=True)}


class StepShape(InputShape):
    """A value between what went in and the result."""

    equation = serializers.CharField()


class NumberShape(serializers.Serializer[Any]):
    """One computed number with all that is needed to come to it by hand."""

    key = serializers.CharField()
    name = serializers.CharField()
    short = serializers.CharField()
    value = serializers.FloatField(allow_null=True, help_text="null where it is unknown: never nought.")
    unit = serializers.CharField(allow_blank=True)
    ucum = serializers.CharField(allow_null=True, help_text="The unit in UCUM; null where there is none.")
    decimals = serializers.IntegerField(help_text="As many as pages show.")
    shown = serializers.CharField(help_text="As pages show it.")
    at = serializers.CharField(allow_null=True, help_text="When it was measured, for results that can be old.")
    interval = IntervalShape(allow_null=True)
    standing = serializers.ChoiceField(choices=[each.value for each in Standing])
    why = ReasonShape(allow_null=True, help_text="Why it is unknown.")
    doubts = ReasonShape(many=True, help_text="Why it is doubtful.")
    equation = serializers.CharField()
    inputs = InputShape(many=True)
    steps = StepShape(many=True)
    source = serializers.CharField()  # type: ignore[assignment]  # a field of that name, not the serializer's own


class NightNumbersShape(serializers.Serializer[Any]):
    record = serializers.UUIDField()
    patient = serializers.UUIDField()
    night = serializers.DateField()
    revision = serializers.IntegerField(help_text="Of the record as it stands.")
    ready = serializers.BooleanField(help_text="Whether the numbers are of this revision.")
    science_version = serializers.CharField(allow_blank=True)
    computed_at = serializers.DateTimeField(allow_null=True)
    numbers = NumberShape(many=True)


class MonthNumberShape(NumberShape):
    """A number of a month beside the range of the review."""

    range = serializers.CharField(help_text="In words, with the unit.")
    place = serializers.IntegerField(help_text="To the range: -1 below, 0 within or not known, 1 above.")


class MonthNumbersShape(serializers.Serializer[Any]):
    patient = serializers.UUIDField()
    month = serializers.CharField(help_text="2026-03")
    ready = serializers.BooleanField(help_text="false: something came since, and it is being computed again.")
    science_version = serializers.CharField(allow_blank=True)
    computed_at = serializers.DateTimeField()
    signed_at = serializers.DateTimeField(allow_null=True, help_text="Of the review of this month; null: not signed.")
    changed_since_signed = serializers.ListField(
        child=serializers.CharField(), help_text="Keys of the numbers that read otherwise here than they were signed."
    )
    numbers = MonthNumberShape(many=True)
