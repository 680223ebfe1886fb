"""The other shapes of the API: patients, prescriptions, bloods."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from django.utils.translation import gettext
from rest_framework import serializers

from homedialysis.accounts.choices.tokens import TokenScope
from homedialysis.accounts.services.dates import short_moment
from sessions.facts import plausible
from sessions.facts.choices import Analyte, PostSampleMethod, SampleTiming
from sessions.models import BloodResult, Dialyser, Medication, Patient, Prescription
from sessions.services.document import KnownFields, MomentField, PlainNumber, ReadingPart, TreatmentDocument


class MarkShape(serializers.Serializer[Any]):
    """An unusual number that was kept."""

    field = serializers.CharField()
    given = serializers.FloatField()
    limit = serializers.CharField()
    confirmed = serializers.BooleanField()


class WriterShape(serializers.Serializer[Any]):
    """Who last wrote a record."""

    id = serializers.IntegerField()
    name = serializers.CharField()


class TreatmentAnswer(TreatmentDocument):
    """The document with what the server adds."""

    id = serializers.UUIDField()
    patient = serializers.UUIDField()
    revision = serializers.IntegerField()
    etag = serializers.CharField(help_text="As in the header ETag, with its quotes: sent back in If-Match as it is.")
    night = serializers.DateField()
    received_at = serializers.DateTimeField()
    clock_offset_s = serializers.IntegerField(
        allow_null=True, help_text="Seconds by which the clock of the phone was ahead of the server's."
    )
    entered_by = WriterShape()
    marks = MarkShape(many=True)


class TreatmentSent(TreatmentDocument):
    """The document as sent. The patient may be left out by the patient's own account."""

    patient = serializers.UUIDField(required=False)


class Problem(serializers.Serializer[Any]):
    """Problem details (RFC 9457): what kind of trouble, and in words what is the matter."""

    type = serializers.CharField()
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField()


class RevisionMovedOn(Problem):
    """Why a revision was not replaced, and the record as it stands; null where there is none."""

    current = TreatmentAnswer(allow_null=True)


class ReadingsSent(serializers.Serializer[Any]):
    readings = ReadingPart(many=True)


class LateReadings(serializers.Serializer[Any]):
    """`ReadingsSent` before its rows are judged together with the record."""

    readings = serializers.ListField(child=serializers.DictField(), min_length=1, max_length=500)


class BulkItem(TreatmentSent):
    id = serializers.UUIDField()
    if_match = serializers.CharField(required=False, help_text="The ETag of what is replaced.")


class BulkSent(serializers.Serializer[Any]):
    treatments = BulkItem(many=True)


class Bulk(serializers.Serializer[Any]):
    """`BulkSent` before its items are judged one by one."""

    treatments = serializers.ListField(child=serializers.JSONField(), min_length=1, max_length=200)


class Page(serializers.Serializer[Any]):
    """A page of a list: how many there are in all, and where the pages before and after are."""

    count = serializers.IntegerField()
    next = serializers.URLField(allow_null=True)
    previous = serializers.URLField(allow_null=True)


class TreatmentPage(Page):
    results = TreatmentAnswer(many=True)


class BulkResult(serializers.Serializer[Any]):
    id = serializers.CharField()
    status = serializers.IntegerField()
    revision = serializers.IntegerField(required=False)
    etag = serializers.CharField(required=False)
    errors = serializers.ListField(child=serializers.DictField(), required=False)  # type: ignore[assignment]
    detail = serializers.CharField(required=False)


class BulkAnswer(serializers.Serializer[Any]):
    results = BulkResult(many=True)


class VersionShape(serializers.Serializer[Any]):
    """One version that stood, with when it was written and by whom."""

    revision = serializers.IntegerField()
    written_at = serializers.DateTimeField()
    written_by = serializers.CharField()
    document = TreatmentDocument()


class FaultShape(serializers.Serializer[Any]):
    field = serializers.CharField(help_text="Path of what was refused, such as readings[2].venous_mmhg.")
    message = serializers.CharField(help_text="Why, with the limit and what was given.")
    given = serializers.JSONField(required=False, help_text="What stood there, if it was a plain value.")


class Refusal(Problem):
    errors = FaultShape(many=True, required=False)  # type: ignore[assignment]


class DialyserShape(serializers.ModelSerializer[Dialyser]):
    class Meta:
        model = Dialyser
        fields = ("name", "koa_ml_min", "surface_m2")


class PrescriptionShape(serializers.ModelSerializer[Prescription]):
    dialyser = DialyserShape()
    signed_by = serializers.CharField(source="signed_by.name")
    begins = serializers.DateTimeField(source="in_force.lower")

    class Meta:
        model = Prescription
        exclude = ("id", "in_force")


class PatientShape(serializers.ModelSerializer[Patient]):
    class Meta:
        model = Patient
        fields = ("id", "name", "hospital_number", "birth_date", "sex", "height_cm", "joined_on", "left_on")


class PatientPage(Page):
    results = PatientShape(many=True)


class BloodShape(serializers.ModelSerializer[BloodResult]):
    unit = serializers.SerializerMethodField()
    name = serializers.CharField(source="get_analyte_display", read_only=True)

    class Meta:
        model = BloodResult
        fields = (
            "patient",
            "analyte",
            "name",
            "value",
            "bound",
            "unit",
            "drawn_at",
            "timing",
            "post_method",
            "post_minutes",
            "comment",
            "treatment",
        )

    def get_unit(self, result: BloodResult) -> str:
        return plausible.BLOOD[result.analyte].unit


class MedicationShape(serializers.ModelSerializer[Medication]):
    kind_name = serializers.CharField(source="get_kind_display", read_only=True)
    dose = serializers.CharField(read_only=True, help_text="The same in words.")

    class Meta:
        model = Medication
        fields = (
            "id",
            "patient",
            "name",
            "atc",
            "kind",
            "kind_name",
            "amount",
            "unit",
            "times",
            "period",
            "dose",
            "from_on",
            "until_on",
            "why",
            "words",
            "ended_because",
        )


class MedicationPage(Page):
    results = MedicationShape(many=True)


class BloodPage(Page):
    results = BloodShape(many=True)


class BloodSent(KnownFields):
    """One result in its canonical unit. Needs `patients` (queryset) in its context."""

    patient = serializers.UUIDField()
    analyte = serializers.ChoiceField(choices=Analyte.choices)
    value = PlainNumber()
    drawn_at = MomentField()
    timing = serializers.ChoiceField(choices=SampleTiming.choices)
    post_method = serializers.ChoiceField(
        choices=PostSampleMethod.choices, required=False, allow_blank=True, default=""
    )
    post_minutes = PlainNumber(
        required=False,
        allow_null=True,
        default=None,
        help_text="Minutes from the end of the treatment to a late sample; without it the times say so.",
    )
    corrects = PlainNumber(
        required=False,
        allow_null=True,
        default=None,
        help_text="The value that stands for this analyte, time and timing, where this one is to take its place.",
    )

    def validate(self, data: dict[str, Any]) -> dict[str, Any]:
        limits = plausible.BLOOD[data["analyte"]]
        if why := limits.refusal(data["value"]):
            raise serializers.ValidationError({"value": why})
        if data["timing"] == SampleTiming.POST and not data["post_method"]:
            data["post_method"] = PostSampleMethod.NEITHER
        if data["timing"] != SampleTiming.POST and data["post_method"]:
            raise serializers.ValidationError({"post_method": gettext("Only a sample after the treatment has one.")})
        if data["post_minutes"] is not None:
            self._judge_minutes(data["post_minutes"], data["post_method"])
        now: datetime = self.context["now"]
        if data["drawn_at"] > now:
            why = gettext("It lies after the server's time, %(now)s UTC.") % {"now": short_moment(now.astimezone(UTC))}
            raise serializers.ValidationError({"drawn_at": why})
        return data

    def _judge_minutes(self, minutes: float, method: str) -> None:
        if method != PostSampleMethod.LATE:
            raise serializers.ValidationError({"post_minutes": gettext("Only a late sample has minutes.")})
        if why := plausible.MINUTES_AFTER_END.refusal(minutes):
            raise serializers.ValidationError({"post_minutes": why})


class BloodsSent(serializers.Serializer[Any]):
    results = BloodSent(many=True, allow_empty=False, max_length=200)  # type: ignore[call-arg]


class LimitShape(serializers.Serializer[Any]):
    label = serializers.CharField()  # type: ignore[assignment]
    short = serializers.CharField()
    unit = serializers.CharField()
    hard = serializers.ListField(child=serializers.FloatField(), min_length=2, max_length=2)
    usual = serializers.ListField(child=serializers.FloatField(), min_length=2, max_length=2)
    step = serializers.FloatField()


class LimitsShape(serializers.Serializer[Any]):
    fields_ = serializers.DictField(child=LimitShape())

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        return {"fields": super().get_fields()["fields_"]}


class DeviceShape(serializers.Serializer[Any]):
    id = serializers.UUIDField(source="public_id")
    name = serializers.CharField()
    scopes = serializers.ListField(child=serializers.ChoiceField(choices=TokenScope.choices))
    created = serializers.DateTimeField()
    expiry = serializers.DateTimeField()
    last_used = serializers.DateTimeField(allow_null=True, help_text="To the hour.")


class NewDevice(serializers.Serializer[Any]):
    name = serializers.CharField(max_length=80)
    scopes = serializers.ListField(child=serializers.ChoiceField(choices=TokenScope.choices), allow_empty=False)


class NewDeviceAnswer(DeviceShape):
    token = serializers.CharField()
