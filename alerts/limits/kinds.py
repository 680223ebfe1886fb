"""The limits that call a nurse, by family: each a default with its source, and the range in which it may be set."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

from alerts.models.choices import Family
from dosing.science.sources import Status

STATUS_WORDS: dict[Status, StrOrPromise] = {
    Status.SEEN: _("seen"),
    Status.SECOND_HAND: _("seen second-hand"),
    Status.MEMORY: _("from memory"),
    Status.PRACTICE: _("common practice"),
    Status.COMPUTED: _("computed"),
}
"""How far the source of a number was seen, for people."""


@dataclass(frozen=True, slots=True)
class LimitKind:
    """One limit. value: the default in `unit`; least, most: what it may be set to; status: how far seen."""

    name: str
    label: StrOrPromise
    unit: str
    value: float
    least: float
    most: float
    step: float
    source: StrOrPromise
    status: Status
    family: Family

    @property
    def words(self) -> str:
        """Where it comes from and how far that was seen, in the reader's language."""
        status = str(STATUS_WORDS[self.status])
        return f"{self.source} ({status})" if self.source else status

    @property
    def title(self) -> str:
        """Label and unit, as lists name it."""
        return f"{self.label} ({self.unit})" if self.unit else str(self.label)

    def refusal(self, given: float) -> str:
        """Why a value cannot be this limit, or ""."""
        if self.least <= given <= self.most:
            return ""
        return gettext("%(label)s must be between %(least)s and %(most)s %(unit)s; %(given)s was given.") % {
            "label": self.label,
            "least": f"{self.least:g}",
            "most": f"{self.most:g}",
            "unit": self.unit,
            "given": f"{given:g}",
        }


Row = tuple[str, StrOrPromise, str, float, float, float, float, StrOrPromise, Status]
_SEEN, _SECOND, _MEMORY, _PRACTICE = Status.SEEN, Status.SECOND_HAND, Status.MEMORY, Status.PRACTICE

_FLYTHE_UF = _(
    "Flythe et al., Kidney Int 2011;79:250-7 (bands from memory); "
    "above 13: Assimon et al., Am J Kidney Dis 2016;68:911, abstract"
)
_MERMELSTEIN = _("3 W + 500 mL/h: Mermelstein et al., Clin J Am Soc Nephrol 2023;18:767, the unit's choice")
_FLYTHE_LOW = _("Flythe et al., J Am Soc Nephrol 2015;26:724: lowest under 90, or under 100 from 160 or more")
_GRADE_3 = _("systolic 180 or diastolic 110, the usual line for very high pressure")
_DEPNER = _("not more negative than -250: summary of Sands and Depner; home units often alarm at -200")
_FALL = _("fall of 20 mmHg with symptoms: KDOQI 2005 and European guideline 2007 (PMC6518736)")
_STANDING = _("fall on standing of 20 systolic or 10 diastolic, the usual definition")
_KDOQI_2015 = _("KDOQI 2015, other than three a week: 2.1 at least, 2.3 aimed at (Am J Kidney Dis 66:884)")
_BLEEDING = _("KDOQI names long bleeding as a sign, without a firm number")
_RD52 = _("within 5 % of the nominal 14.0 mS/cm: summary of ANSI/AAMI RD52; set it for other fluids")
_ISO_CHLORINE = _("ISO 23500-3:2019: total chlorine 0.1 mg/L at most")
_POTASSIUM = _("best between 4.0 and 5.5: introduction of BMC Nephrol 2019 (s12882-019-1450-7)")
_KDIGO_ANAEMIA = _("KDIGO anaemia 2012: treatment starts from 90 to 100 g/L, never aims over 130")
_KDOQI_BONE = _("KDOQI 2003 bone guideline, Table 1 in PMC3705332: phosphate 1.13 to 1.78, calcium from 2.10 mmol/L")

_FLUID: tuple[Row, ...] = (
    ("uf_rate", _("UF rate at most"), "mL/kg/h", 13, 3, 20, 0.5, _FLYTHE_UF, _SEEN),
    ("uf_rate_line", _("UF rate at most, of the line that grows with weight (0: not used)"), "%", 0, 0, 200, 5,
     _MERMELSTEIN, _SEEN),
    ("uf_volume", _("Fluid removed at most"), "L", 4, 1, 8, 0.1, "", _PRACTICE),
    ("gain_percent", _("Gained between treatments at most, of target weight"), "%", 4.5, 1, 10, 0.1,
     _("4 to 4.5 %: KDOQI and European guideline 2007"), _MEMORY),
    ("off_target_kg", _("Weight after, off target by"), "kg", 1, 0.3, 5, 0.1, "", _PRACTICE),
    ("off_target_percent", _("or by, of target weight"), "%", 2, 0.5, 10, 0.5, "", _PRACTICE),
    ("target_pressure_shift", _("Shift of the pressure before that questions the target weight"), "mmHg", 8, 4, 40, 1,
     "", _PRACTICE),
)  # fmt: skip
_PRESSURE: tuple[Row, ...] = (
    ("systolic_low", _("Lowest systolic at least"), "mmHg", 90, 60, 130, 5, _FLYTHE_LOW, _SEEN),
    ("systolic_low_after_high", _("Lowest systolic at least, when high before"), "mmHg", 100, 60, 140, 5,
     _FLYTHE_LOW, _SEEN),
    ("systolic_high", _("Systolic before at most"), "mmHg", 180, 120, 240, 5, _GRADE_3, _MEMORY),
    ("diastolic_high", _("Diastolic before at most"), "mmHg", 110, 70, 150, 5, _GRADE_3, _MEMORY),
    ("systolic_high_after", _("Systolic after at most"), "mmHg", 170, 120, 240, 5, "", _PRACTICE),
    ("systolic_fall", _("Fall of the systolic pressure with symptoms"), "mmHg", 20, 10, 80, 5, _FALL, _SEEN),
    ("standing_fall", _("Fall of the systolic pressure on standing"), "mmHg", 20, 10, 60, 5, _STANDING, _MEMORY),
    ("standing_fall_diastolic", _("Fall of the diastolic pressure on standing"), "mmHg", 10, 5, 40, 5,
     _STANDING, _MEMORY),
)  # fmt: skip
_DOSE: tuple[Row, ...] = (
    ("delivered", _("Time of treatment at least, twice in three"), "%", 90, 50, 100, 5, "", _PRACTICE),
    ("delivered_once", _("Time of treatment at least, once"), "%", 75, 30, 100, 5, "", _PRACTICE),
    ("treatments", _("Treatments in four weeks at least, of those prescribed"), "%", 85, 50, 100, 5, "", _PRACTICE),
    ("weekly_ktv", _("Weekly standard Kt/V at least"), "1/wk", 2.1, 1.5, 4, 0.1, _KDOQI_2015, _SECOND),
    ("blood_processed", _("Blood processed at least, of prescribed flow times time"), "%", 90, 50, 100, 5,
     "", _PRACTICE),
    ("blood_flow", _("Blood flow at least, of prescribed"), "%", 90, 50, 100, 5, "", _PRACTICE),
    ("dose_drift", _("Fall of the machine's clearance over weeks, told from"), "mL/min", 15, 0, 100, 1, "", _PRACTICE),
)  # fmt: skip
_ACCESS: tuple[Row, ...] = (
    ("arterial_low", _("Arterial pressure not below"), "mmHg", -250, -400, -50, 10, _DEPNER, _SECOND),
    ("venous_high", _("Venous pressure at most"), "mmHg", 250, 80, 400, 10, "", _PRACTICE),
    ("venous_low", _("Venous pressure at least"), "mmHg", 20, 0, 100, 5, "", _PRACTICE),
    ("venous_rise", _("Rise of the venous pressure over weeks, told from"), "mmHg", 10, 0, 100, 1, "", _PRACTICE),
    ("arterial_fall", _("Fall of the arterial pressure over weeks, told from"), "mmHg", 10, 0, 100, 1, "", _PRACTICE),
    ("attempts", _("Needle attempts in one treatment at most"), "", 3, 2, 10, 1, "", _PRACTICE),
    ("pain", _("Pain at a needle at most, of 10"), "", 6, 1, 9, 1, "", _PRACTICE),
    ("bleeding", _("Bleeding after needles at most"), "min", 20, 5, 60, 1, _BLEEDING, _MEMORY),
    ("bleeding_rise", _("Rise of the bleeding time over weeks, told from"), "min", 3, 0, 30, 1, "", _PRACTICE),
    ("body_temperature", _("Body temperature under"), "°C", 38, 37.5, 39, 0.1,
     _("fever from 38 °C, usual line"), _MEMORY),
)  # fmt: skip
_CIRCUIT: tuple[Row, ...] = (
    ("tmp_high", _("Transmembrane pressure at most"), "mmHg", 300, 100, 500, 10, "", _PRACTICE),
    ("tmp_rise", _("Rise of the transmembrane pressure over weeks, told from"), "mmHg", 10, 0, 150, 1, "", _PRACTICE),
)
_COMPOSITION: tuple[Row, ...] = (
    ("conductivity_low", _("Conductivity at least"), "mS/cm", 13.3, 11, 14.5, 0.1, _RD52, _SECOND),
    ("conductivity_high", _("Conductivity at most"), "mS/cm", 14.7, 13.5, 16, 0.1, _RD52, _SECOND),
    ("fluid_temperature_low", _("Temperature of the dialysis fluid at least"), "°C", 34.5, 33, 37, 0.1, "", _PRACTICE),
    ("fluid_temperature_high", _("Temperature of the dialysis fluid at most"), "°C", 38, 36, 40, 0.1, "", _PRACTICE),
)
_WATER: tuple[Row, ...] = (
    ("chlorine", _("Total chlorine at most"), "mg/L", 0.1, 0.02, 0.5, 0.01, _ISO_CHLORINE, _MEMORY),
    ("chlorine_action", _("Total chlorine, action from"), "mg/L", 0.05, 0.01, 0.5, 0.01, "", _PRACTICE),
)
_BLOODS: tuple[Row, ...] = (
    ("potassium_call_high", _("Potassium before, call from"), "mmol/L", 6.5, 5.5, 8, 0.1, "", _MEMORY),
    ("potassium_call_low", _("Potassium before, call under"), "mmol/L", 3.5, 2.5, 4, 0.1, "", _MEMORY),
    ("potassium_high", _("Potassium before at most"), "mmol/L", 5.5, 4.5, 7, 0.1, _POTASSIUM, _SEEN),
    ("potassium_low", _("Potassium before at least"), "mmol/L", 4, 2.5, 4.5, 0.1, _POTASSIUM, _SEEN),
    ("bicarbonate_low", _("Bicarbonate before at least"), "mmol/L", 20, 14, 26, 1, "", _MEMORY),
    ("bicarbonate_high", _("Bicarbonate before at most"), "mmol/L", 28, 24, 36, 1, "", _MEMORY),
    ("calcium_low", _("Calcium at least"), "mmol/L", 2.1, 1.6, 2.4, 0.05, _KDOQI_BONE, _SEEN),
    (
        "calcium_high",
        _("Calcium at most"),
        "mmol/L",
        2.54,
        2.2,
        3.2,
        0.01,
        _("KDOQI 2003: act over 10.2 mg/dL"),
        _MEMORY,
    ),
    ("phosphate_low", _("Phosphate before at least"), "mmol/L", 0.8, 0.3, 1.4, 0.05, "", _PRACTICE),
    ("phosphate_high", _("Phosphate before at most"), "mmol/L", 1.78, 1, 3, 0.01, _KDOQI_BONE, _SEEN),
    ("albumin_low", _("Albumin at least"), "g/L", 35, 20, 45, 1, "", _PRACTICE),
    ("haemoglobin_low", _("Haemoglobin at least"), "g/L", 100, 70, 120, 1, _KDIGO_ANAEMIA, _MEMORY),
    ("haemoglobin_high", _("Haemoglobin at most"), "g/L", 130, 110, 170, 1, _KDIGO_ANAEMIA, _MEMORY),
    ("bloods_days", _("Days after bloods were due before asking"), "d", 7, 0, 60, 1, "", _PRACTICE),
)
_PROCESS: tuple[Row, ...] = (
    ("missing_grace", _("Hours after a due day before asking"), "h", 24, 6, 96, 1, "", _PRACTICE),
    ("late_hours", _("Hours from the end of a treatment to its record at most"), "h", 72, 6, 336, 1, "", _PRACTICE),
    ("unfinished_hours", _("Hours from the start until a record should be handed over"), "h", 36, 14, 168, 1,
     "", _PRACTICE),
    ("acknowledge_hours", _("Hours until a changed prescription should be acknowledged"), "h", 72, 12, 336, 1,
     "", _PRACTICE),
    ("due_days", _("Days after training, water tests or machine care were due before asking"), "d", 0, 0, 60, 1,
     "", _PRACTICE),
)  # fmt: skip
_TABLE: dict[Family, tuple[Row, ...]] = {
    Family.FLUID: _FLUID,
    Family.PRESSURE: _PRESSURE,
    Family.DOSE: _DOSE,
    Family.ACCESS: _ACCESS,
    Family.CIRCUIT: _CIRCUIT,
    Family.COMPOSITION: _COMPOSITION,
    Family.WATER: _WATER,
    Family.BLOODS: _BLOODS,
    Family.PROCESS: _PROCESS,
}


def _kinds() -> Iterator[LimitKind]:
    for family, rows in _TABLE.items():
        for row in rows:
            yield LimitKind(*row, family)


KINDS: dict[str, LimitKind] = {kind.name: kind for kind in _kinds()}
