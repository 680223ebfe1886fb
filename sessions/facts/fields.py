"""The numbers of a treatment, each declared once.

Everything that lists them reads this: columns of the models, the API's document and its schema, refusals, the phone's
screens and its paper page (by way of the kit), the printed flow sheet, the tables of a night, FHIR, the take-out, the
rows that rules look at, the API's examples and the demo. A number added here needs one migration, and the words of its
label.

Ranges are common practice, no source: they judge typing, never a patient. Limits that call a nurse live in `alerts`.
LOINC codes: pulse, temperature and the bare systolic and diastolic pressure are those of FHIR R4's vital-signs
profiles; sitting, standing, and weight before and after were seen in public lists of codes, not in LOINC's own
table: the unit confirms them. What has none goes out under a code of the installation's own.

A field stands on paper only where there is room for it: the flow rate of the dialysate, conductivity and temperature
are set once at the machine and read from there, so they are left to the phone.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from homedialysis.accounts.services.units import Told
from sessions.facts.ranges import UCUM, Range, unit_words

PREFIXES = ("pre_", "post_")
"""Of what is taken before and after."""
LAST = 1000
"""The place on the bedside's screen of what names none: after everything else."""


@dataclass(frozen=True, slots=True)
class Field(Range):
    """A number that is kept: its limits, and where it is asked for and shown.

    short: the label where the place says the rest, "" where the whole one is short; head: over a column, with the unit
    where it is not plain from the name, "" for `short` and unit. decimals: figures after the sign, a negative number
    for "at most so many". whole: it is counted, and a fraction of one is refused. paired_with: the key of the number
    that is written under it as in 120/80; together: what the two are called in one row. loinc: a code that was
    verified, or ""; ucum: the unit for exchange where `UCUM` does not know it. asked: its place on the bedside's
    screen, None where that does not ask for it, or works it out. on_paper: whether it has a column or a line on the
    flow sheet and on the page that types it in. drawn: whether the phone draws its course over the nights.
    of_its_treatment: whether it says something of the treatment that runs alone, so that the one of the night before is
    never offered. at_most: the key of the number of the same treatment that it does not usually pass; rises: within a
    treatment it does not usually fall; zero: that nothing is as usual as what lies within `usual` (it is switched off);
    apart: how many times more or less than prescribed it usually is at most, 0 where nothing is prescribed (common
    practice, no source, each). example: a likely value, for the API's examples and the demo; None for the middle of
    what is usual. of_machine: whether it is read off the machine, and so told in the machine's unit whatever the reader
    chose for weight and temperature of the body. ordered: the key of what is
    prescribed of it in `sessions/facts/ordered.py`, which stands beside it, or "".
    """

    short: str = ""
    head: str = ""
    decimals: int = -1
    whole: bool = False
    paired_with: str = ""
    together: str = ""
    loinc: str = ""
    ucum: str = ""
    asked: int | None = LAST
    on_paper: bool = True
    drawn: bool = False
    of_its_treatment: bool = False
    at_most: str = ""
    rises: bool = False
    apart: float = 0
    zero: bool = False
    example: float | None = None
    of_machine: bool = False
    ordered: str = ""

    def oddity(self, given: float) -> str:
        return "" if self.zero and given == 0 else super(Field, self).oddity(given)

    @property
    def told(self) -> Told:
        return Told(self.unit) if self.of_machine else super(Field, self).told

    @property
    def short_words(self) -> str:
        """The short label in the language of the reader."""
        return gettext(self.short or self.label)

    @property
    def heading(self) -> str:
        """What stands over its column, in the language of the reader."""
        return gettext(self.head) if self.head else with_unit(self.short_words, self.told.unit)

    @property
    def ucum_code(self) -> str | None:
        """The unit for exchange, None where it has no code."""
        return self.ucum or UCUM.get(self.unit or "1")

    @property
    def likely(self) -> float:
        """The example, else the middle of what is usual as the entry field would take it."""
        if self.example is not None:
            return self.example
        middle = round(sum(self.usual) / 2 / self.step) * self.step
        return round(min(max(middle, self.usual[0]), self.usual[1]), 6)


def with_unit(label: str, unit: str) -> str:
    """ "Weight, kg", in the language of the reader; the bare label where there is no unit."""
    return f"{label}, {unit_words(unit)}" if unit else label


WEIGHT = Field(_("Weight"), "kg", (20, 300), (40, 160), 0.1, decimals=1)
SYSTOLIC = Field(
    _("Systolic pressure"),
    "mmHg",
    (40, 300),
    (85, 190),
    short=_("Systolic"),
    head=_("Pressure"),
    paired_with="diastolic",
    loinc="8480-6",
    asked=80,
    example=132,
)
DIASTOLIC = Field(
    _("Diastolic pressure"),
    "mmHg",
    (20, 200),
    (40, 110),
    short=_("Diastolic"),
    loinc="8462-4",
    asked=90,
    example=76,
)
PULSE = Field(_("Pulse"), "/min", (20, 250), (45, 120), loinc="8867-4", asked=100, example=74)
BODY_TEMPERATURE = Field(_("Temperature"), "°C", (30, 43), (35.5, 37.8), 0.1, decimals=1, loinc="8310-5", example=36.5)
BLOOD_PRESSURE_LOINC = "85354-9"
"""The panel in which a systolic pressure goes out together with its diastolic one."""


@dataclass(frozen=True, slots=True)
class Twice:
    """A number that is taken before and after: what holds for both, and what each is called and coded by itself."""

    field: Field
    before: str
    after: str
    loinc: tuple[str, str] = ("", "")
    asked: tuple[int | None, int | None] = (LAST, LAST)
    examples: tuple[float | None, float | None] = (None, None)
    together: tuple[str, str] = ("", "")
    drawn: bool = False
    falls: str = ""
    """its own name where the one after is usually not above the one before"""

    def at(self, place: int) -> Field:
        """The field before (0) or after (1)."""
        below = self.field.paired_with
        return replace(
            self.field,
            label=(self.before, self.after)[place],
            short=self.field.short or self.field.label,
            paired_with=below and f"{PREFIXES[place]}{below}",
            together=self.together[place],
            drawn=self.drawn,
            at_most=f"{PREFIXES[0]}{self.falls}" if self.falls and place else "",
            loinc=self.loinc[place] or self.field.loinc,
            asked=self.asked[place],
            example=self.examples[place],
        )


_SITTING = replace(SYSTOLIC, head=_("Pressure sitting, mmHg"))
_STANDING = replace(
    SYSTOLIC,
    short=_("Systolic, standing"),
    head=_("Pressure standing, mmHg"),
    paired_with="standing_diastolic",
)
_STANDING_BELOW = replace(DIASTOLIC, short=_("Diastolic, standing"))

MEASURED = {
    "weight_kg": Twice(
        WEIGHT,
        _("Weight before"),
        _("Weight after"),
        loinc=("8347-7", "8344-4"),
        asked=(10, 10),
        examples=(72.6, 70.3),
        drawn=True,
        falls="weight_kg",
    ),
    "systolic": Twice(
        _SITTING,
        _("Systolic pressure before, sitting"),
        _("Systolic pressure after, sitting"),
        loinc=("8459-0", "8459-0"),
        asked=(20, 20),
        examples=(138, 124),
        together=(_("Pressure before, sitting"), _("Pressure after, sitting")),
        drawn=True,
    ),
    "diastolic": Twice(
        DIASTOLIC,
        _("Diastolic pressure before, sitting"),
        _("Diastolic pressure after, sitting"),
        loinc=("8453-3", "8453-3"),
        asked=(30, 30),
        examples=(78, 72),
    ),
    "standing_systolic": Twice(
        _STANDING,
        _("Systolic pressure before, standing"),
        _("Systolic pressure after, standing"),
        loinc=("8460-8", "8460-8"),
        asked=(50, 50),
        examples=(130, 116),
        together=(_("Pressure before, standing"), _("Pressure after, standing")),
    ),
    "standing_diastolic": Twice(
        _STANDING_BELOW,
        _("Diastolic pressure before, standing"),
        _("Diastolic pressure after, standing"),
        loinc=("8454-1", "8454-1"),
        asked=(60, 60),
        examples=(76, 70),
    ),
    "pulse": Twice(PULSE, _("Pulse before"), _("Pulse after"), asked=(40, 40), examples=(72, 76)),
    "temperature_c": Twice(
        BODY_TEMPERATURE, _("Temperature before"), _("Temperature after"), asked=(70, None), examples=(36.5, 36.4)
    ),
}
"""What is taken before and after the treatment."""
BEFORE, AFTER = (
    {f"{prefix}{name}": each.at(place) for name, each in MEASURED.items()} for place, prefix in enumerate(PREFIXES)
)

FLUID: dict[str, Field] = {
    "planned_uf_l": Field(
        _("Planned fluid removal (UF)"),
        "L",
        (0, 10),
        (0, 4.5),
        0.05,
        head=_("Fluid to take off (UF), L"),
        decimals=-2,
        asked=None,
        example=2.7,
    ),
    "set_uf_l": Field(
        _("Fluid removal set on the machine"),
        "L",
        (0, 10),
        (0, 4.5),
        0.05,
        short=_("Set on the machine"),
        head=_("Machine: UF set, L"),
        decimals=-2,
        asked=None,
        example=2.7,
    ),
    "set_temperature_c": Field(
        _("Dialysate temperature set on the machine"),
        "°C",
        (20, 45),
        (34.5, 38),
        0.1,
        short=_("Dialysate temperature, set"),
        decimals=1,
        on_paper=False,
        of_its_treatment=True,
        example=36.5,
        of_machine=True,
        ordered="dialysate_temperature_c",
    ),
    "rinse_back_l": Field(_("Rinse-back"), "L", (0, 2), (0.1, 0.6), 0.05, decimals=-2, example=0.3),
    "intake_l": Field(
        _("Drinks during treatment"), "L", (0, 5), (0, 1.5), 0.05, short=_("Drinks"), decimals=-2, example=0.2
    ),
    "uf_removed_l": Field(
        _("Fluid removed (UF)"),
        "L",
        (0, 10),
        (0, 4.5),
        0.05,
        head=_("Machine: UF taken off, L"),
        decimals=-2,
        example=2.7,
    ),
    "blood_processed_l": Field(
        _("Blood processed"),
        "L",
        (0, 300),
        (15, 140),
        0.1,
        head=_("Machine: blood processed, L"),
        decimals=1,
        example=71.5,
    ),
    "machine_ktv": Field(
        _("Kt/V as the machine shows it"),
        "",
        (0, 10),
        (0.3, 3),
        0.01,
        head=_("Machine: Kt/V"),
        decimals=2,
        example=1.31,
    ),
    "blood_lost_ml": Field(_("Blood lost"), "mL", (0, 3000), (0, 400), 10, decimals=0, asked=None, example=0),
    "planned_minutes": Field(
        _("Planned length"), "min", (1, 1440), (60, 660), 5, asked=None, on_paper=False, example=240
    ),
    "planned_intake_l": Field(
        _("Planned drinks"), "L", (0, 5), (0, 1.5), 0.05, decimals=-2, asked=None, on_paper=False
    ),
    "planned_rinse_back_l": Field(
        _("Planned rinse-back"), "L", (0, 2), (0.1, 0.6), 0.05, decimals=-2, asked=None, on_paper=False, example=0.3
    ),
}
"""The plan, and what the machine shows at the end; what is on paper in the order of the sheet."""
TREATMENT: dict[str, Field] = {**BEFORE, **AFTER, **FLUID}
"""The numbers of the treatment as a whole."""

READING: dict[str, Field] = {
    "qb_ml_min": Field(
        _("Blood flow rate (Qb)"),
        "mL/min",
        (0, 700),
        (100, 450),
        10,
        short=_("Blood flow (Qb)"),
        head=_("Qb"),
        asked=40,
        example=300,
    ),
    "qd_ml_min": Field(
        _("Dialysate flow rate (Qd)"),
        "mL/min",
        (0, 1000),
        (50, 800),
        10,
        short=_("Dialysate flow (Qd)"),
        head=_("Qd"),
        asked=50,
        on_paper=False,
        example=500,
    ),
    "arterial_mmhg": Field(
        _("Arterial pressure (pre-pump)"),
        "mmHg",
        (-500, 200),
        (-250, 20),
        5,
        short=_("Arterial"),
        head=_("Arterial"),
        asked=10,
        example=-140,
    ),
    "venous_mmhg": Field(
        _("Venous pressure"),
        "mmHg",
        (-100, 500),
        (20, 250),
        5,
        short=_("Venous"),
        head=_("Venous"),
        asked=20,
        example=135,
    ),
    "tmp_mmhg": Field(
        _("Transmembrane pressure (TMP)"),
        "mmHg",
        (-200, 600),
        (-50, 300),
        5,
        short=_("TMP"),
        head=_("TMP"),
        asked=30,
        example=60,
    ),
    "uf_rate_ml_h": Field(
        _("UF rate set"),
        "mL/h",
        (0, 4000),
        (50, 1200),  # under that mL/kg/h was typed
        10,
        zero=True,
        head=_("UF rate, mL/h"),
        asked=60,
        of_its_treatment=True,
        example=670,
    ),
    "uf_volume_l": Field(
        _("UF so far"),
        "L",
        (0, 10),
        (0, 4.5),
        0.05,
        decimals=-2,
        asked=70,
        of_its_treatment=True,
        rises=True,
        example=0.2,
    ),
    "systolic": SYSTOLIC,
    "diastolic": DIASTOLIC,
    "pulse": replace(PULSE, head=_("Pulse")),
    "conductivity_ms_cm": Field(
        _("Conductivity"),
        "mS/cm",
        (5, 20),
        (13, 15),
        0.1,
        head=_("mS/cm"),
        decimals=1,
        asked=110,
        on_paper=False,
        example=14.0,
    ),
    "dialysate_temperature_c": Field(
        _("Dialysate temperature"),
        "°C",
        (20, 45),
        (34.5, 38),
        0.1,
        head="°C",
        decimals=1,
        asked=120,
        on_paper=False,
        example=36.5,
        of_machine=True,
    ),
}
"""The numbers of a reading. Asked in the order in which people go round: the machine's front first, then the cuff,
then what is asked less often."""

CHECK: dict[str, Field] = {
    "value": Field(_("Measured value"), "", (0, 10000), (0, 10000), 0.01, decimals=-2, example=0.02)
}
MEDICINE: dict[str, Field] = {
    "amount": Field(_("Amount"), "", (0, 100000), (0, 20000), decimals=-2, apart=2, example=2000)
}
SITE: dict[str, Field] = {
    "attempts": Field(_("Attempts"), "", (1, 20), (1, 3), whole=True, example=1),
    "pain": Field(
        _("Pain at the needle, 0 to 10"),
        "",
        (0, 10),
        (0, 6),
        short=_("Pain"),
        head=_("Pain 0–10"),
        whole=True,
        example=1,
    ),
    "gauge": Field(
        _("Needle gauge"), "G", (13, 18), (14, 17), short=_("Gauge"), head=_("Gauge"), whole=True, example=15
    ),
    "bleeding_minutes": Field(
        _("Bleeding after needle removal"),
        "min",
        (0, 240),
        (0, 20),
        short=_("Bled for"),
        head=_("Bleeding, min"),
        example=6,
    ),
    "length_mm": Field(_("Needle length"), "mm", (5, 60), (15, 38), on_paper=False, example=25),
}
EVENT: dict[str, Field] = {
    "systolic": replace(SYSTOLIC, on_paper=False),
    "diastolic": replace(DIASTOLIC, on_paper=False),
    "saline_l": Field(_("Saline given"), "L", (0, 3), (0.05, 0.5), 0.05, decimals=-2, on_paper=False, example=0.1),
}
EVENT_MOMENTS = ("paused_at", "resumed_at", "ended_at")
"""Times of an event that was gone through step by step, in the order in which they can come: fluid removal or blood
pump off, on again, and when it was over."""
LISTS: dict[str, dict[str, Field]] = {
    "readings": READING,
    "checks": CHECK,
    "events": EVENT,
    "medicines": MEDICINE,
    "sites": SITE,
}
"""The lists of a treatment document, each with the numbers of a row."""


def drawn() -> list[str]:
    """What is taken before and after and drawn over the nights: the names without `pre_` and `post_`."""
    return [key.removeprefix(PREFIXES[0]) for key, field in BEFORE.items() if field.drawn]


def on_paper(fields: Mapping[str, Field]) -> list[str]:
    """The keys that have a place on the flow sheet, in its order."""
    return [key for key, field in fields.items() if field.on_paper]


def at_bedside(fields: Mapping[str, Field]) -> list[str]:
    """The keys that the phone's screen asks for, in its order."""
    asked = [(field.asked, key) for key, field in fields.items() if field.asked is not None]
    return [key for _place, key in sorted(asked, key=lambda each: each[0])]


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table: the key of its number, the key of the one written under it or "", and the field."""

    key: str
    below: str
    field: Field


def columns(fields: Mapping[str, Field], keys: Iterable[str] | None = None) -> list[Column]:
    """The columns of a table of these fields; two numbers of one pressure share a column. keys: only these."""
    wanted = list(fields if keys is None else keys)
    shared = {fields[key].paired_with for key in wanted}
    alone = [key for key in wanted if key not in shared]
    pairs = {key: fields[key].paired_with for key in alone}
    return [Column(key, pairs[key] if pairs[key] in wanted else "", fields[key]) for key in alone]
