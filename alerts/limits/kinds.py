"""The limits that call a nurse, by family: each a default with its source, and the range in which it may be set."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

from alerts.models.choices import Family
from dosing.science.bloods import FAR_OUT_K
from dosing.science.guidance import GUIDANCE, End
from dosing.science.sources import Status
from dosing.services.numbers.blood_units import ShownAnalyte, spoken_of
from dosing.services.numbers.guidance import source_words
from dosing.services.numbers.seen import with_status
from homedialysis.accounts.services.units import Told, told_in
from sessions.facts.choices import Analyte


@dataclass(frozen=True, slots=True)
class LimitKind:
    """One limit. value: the default in `unit`; least, most: what it may be set to; status: how far seen.

    guided: the quantity of guidance whose row says where the default comes from, "" where `source` says it.
    """

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
    guided: str = ""

    @property
    def words(self) -> str:
        """Where it comes from and how far that was seen, in the reader's language."""
        return source_words(GUIDANCE[self.guided]) if self.guided else with_status(self.source, self.status)

    @property
    def title(self) -> str:
        """Label and unit, as lists name it."""
        return f"{self.label} ({self.unit_shown})" if self.unit else str(self.label)

    @property
    def shown(self) -> ShownAnalyte | None:
        """How the analyte that it is a limit of is written just now; None for the limits of everything else."""
        loinc = OF_ANALYTE.get(self.name.replace("_call", "").rpartition("_")[0]) if self.unit else None
        return spoken_of(loinc) if loinc and self.family == Family.BLOODS else None

    @property
    def unit_shown(self) -> str:
        return self.shown.unit if self.shown else self.told.unit

    @property
    def told(self) -> Told:
        """How a weight or a temperature is told; what is read off the machine stays in the machine's unit."""
        return Told(self.unit) if self.family == Family.COMPOSITION else told_in(self.unit)

    def as_read(self, value: float) -> float:
        """A value in the unit in which it is shown."""
        if self.shown:
            return self.shown.figure(value)
        return round(self.told.of(value), 1) if self.told.differs else value

    def as_kept(self, typed: float) -> float:
        """A value that was typed in the unit in which it is shown, in its own."""
        return self.shown.to_canonical(typed) if self.shown else self.told.kept(typed)

    def refusal(self, given: float) -> str:
        """Why a value cannot be this limit, or ""."""
        if self.least <= given <= self.most:
            return ""
        return gettext("%(label)s must be between %(least)s and %(most)s %(unit)s; %(given)s was given.") % {
            "label": self.label,
            "least": f"{self.as_read(self.least):g}",
            "most": f"{self.as_read(self.most):g}",
            "unit": self.unit_shown,
            "given": f"{self.as_read(given):g}",
        }


OF_ANALYTE: dict[str, str] = {
    "potassium": Analyte.POTASSIUM, "bicarbonate": Analyte.BICARBONATE, "calcium": Analyte.CALCIUM,
    "phosphate": Analyte.PHOSPHATE, "albumin": Analyte.ALBUMIN, "haemoglobin": Analyte.HAEMOGLOBIN,
    "ferritin": Analyte.FERRITIN, "saturation": Analyte.TRANSFERRIN_SATURATION, "pth": Analyte.PTH,
}  # fmt: skip
"""What the limits of bloods are of, by their names without their end."""
Row = tuple[str, StrOrPromise, str, float, float, float, float, StrOrPromise, Status]


class Guided(NamedTuple):
    """A limit whose default is an end of a row of guidance."""

    name: str
    label: StrOrPromise
    unit: str
    least: float
    most: float
    step: float
    end: End
    quantity: str


_SEEN, _SECOND, _MEMORY, _PRACTICE = Status.SEEN, Status.SECOND_HAND, Status.MEMORY, Status.PRACTICE

_MERMELSTEIN = _("3 W + 500 mL/h: Mermelstein et al., Clin J Am Soc Nephrol 2023;18:767, the unit's choice")
_FLYTHE_LOW = _("Flythe et al., J Am Soc Nephrol 2015;26:724: lowest under 90, or under 100 from 160 or more")
_GRADE_3 = _("systolic 180 or diastolic 110, the usual line for very high pressure")
_DEPNER = _("not more negative than -250: summary of Sands and Depner; home units often alarm at -200")
_FALL = _("fall of 20 mmHg with symptoms: KDOQI 2005 and European guideline 2007 (PMC6518736)")
_STANDING = _("fall on standing of 20 systolic or 10 diastolic, the usual definition")
_BLEEDING = _("KDOQI names long bleeding as a sign, without a firm number")
_RD52 = _("within 5 % of the nominal 14.0 mS/cm: summary of ANSI/AAMI RD52; set it for other fluids")

_FLUID: tuple[Row | Guided, ...] = (
    Guided("uf_rate", _("UF rate at most"), "mL/kg/h", 3, 20, 0.5, "high", "uf_rate"),
    ("uf_rate_line", _("UF rate at most, of the line that grows with weight (0: not used)"), "%", 0, 0, 200, 5,
     _MERMELSTEIN, _SEEN),
    ("uf_volume", _("Fluid removed at most"), "L", 4, 1, 8, 0.1, "", _PRACTICE),
    Guided("gain_percent", _("Gained between treatments at most, of target weight"), "%", 1, 10, 0.1, "high",
     "gain_percent"),
    ("off_target_kg", _("Weight after, off target by"), "kg", 1, 0.3, 5, 0.1, "", _PRACTICE),
    ("off_target_percent", _("or by, of target weight"), "%", 2, 0.5, 10, 0.5, "", _PRACTICE),
    ("gain_rise", _("Rise of the gain over weeks, of target weight, told from"), "%", 0.5, 0, 5, 0.1, "", _PRACTICE),
    ("target_pressure_shift", _("Shift of the pressure before that questions the target weight"), "mmHg", 8, 4, 40, 1,
     "", _PRACTICE),
)  # fmt: skip
_PRESSURE: tuple[Row | Guided, ...] = (
    ("systolic_low", _("Lowest systolic at least"), "mmHg", 90, 60, 130, 5, _FLYTHE_LOW, _SEEN),
    ("systolic_low_after_high", _("Lowest systolic at least, when high before"), "mmHg", 100, 60, 140, 5,
     _FLYTHE_LOW, _SEEN),
    ("systolic_very_low", _("Lowest systolic, once is enough under"), "mmHg", 70, 50, 90, 5, "", _PRACTICE),
    ("systolic_high", _("Systolic before at most"), "mmHg", 180, 120, 240, 5, _GRADE_3, _MEMORY),
    ("diastolic_high", _("Diastolic before at most"), "mmHg", 110, 70, 150, 5, _GRADE_3, _MEMORY),
    Guided("systolic_high_after", _("Systolic after at most"), "mmHg", 120, 240, 5, "high", "post_systolic"),
    ("systolic_fall", _("Fall of the systolic pressure with symptoms"), "mmHg", 20, 10, 80, 5, _FALL, _SEEN),
    ("standing_fall", _("Fall of the systolic pressure on standing"), "mmHg", 20, 10, 60, 5, _STANDING, _MEMORY),
    ("standing_fall_diastolic", _("Fall of the diastolic pressure on standing"), "mmHg", 10, 5, 40, 5,
     _STANDING, _MEMORY),
)  # fmt: skip
_DOSE: tuple[Row | Guided, ...] = (
    ("delivered", _("Time of treatment at least, twice in three"), "%", 90, 50, 100, 5, "", _PRACTICE),
    ("delivered_once", _("Time of treatment at least, once"), "%", 50, 30, 100, 5, "", _PRACTICE),
    ("length_fall", _("Treatments getting shorter over weeks, told from"), "%", 4, 0, 30, 1, "", _PRACTICE),
    ("treatments", _("Treatments in four weeks at least, of those prescribed"), "%", 85, 50, 100, 5, "", _PRACTICE),
    Guided("single_pool_ktv", _("Single-pool Kt/V at least, three a week"), "", 0.6, 2, 0.05, "low", "single_pool_ktv"),
    Guided("weekly_ktv", _("Weekly standard Kt/V with the kidney at least, other schedules"), "1/wk", 1.5, 4, 0.1,
           "low", "weekly_standard_ktv"),
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
_BLOODS: tuple[Row | Guided, ...] = (
    ("potassium_call_high", _("Potassium before, call from"), "mmol/L", 6.5, 5.5, 8, 0.1, "", _PRACTICE),
    ("potassium_soon", _("Potassium before, this week from"), "mmol/L", FAR_OUT_K[1], 5, 7, 0.1, "", _PRACTICE),
    ("potassium_call_low", _("Potassium before, call under"), "mmol/L", FAR_OUT_K[0], 2.5, 4, 0.1, "", _PRACTICE),
    Guided("potassium_high", _("Potassium before at most"), "mmol/L", 4.5, 7, 0.1, "high", "potassium"),
    Guided("potassium_low", _("Potassium before at least"), "mmol/L", 2.5, 4.5, 0.1, "low", "potassium"),
    Guided("bicarbonate_low", _("Bicarbonate before at least"), "mmol/L", 14, 26, 1, "low", "bicarbonate"),
    Guided("bicarbonate_high", _("Bicarbonate before at most"), "mmol/L", 24, 36, 1, "high", "bicarbonate"),
    Guided("calcium_low", _("Calcium, corrected by albumin, at least"), "mmol/L", 1.6, 2.4, 0.05, "low",
     "corrected_calcium"),
    Guided("calcium_high", _("Calcium, corrected by albumin, at most"), "mmol/L", 2.2, 3.2, 0.01, "high",
     "corrected_calcium"),
    Guided("phosphate_low", _("Phosphate before at least"), "mmol/L", 0.3, 1.4, 0.01, "low", "phosphate"),
    Guided("phosphate_high", _("Phosphate before at most"), "mmol/L", 1, 3, 0.01, "high", "phosphate"),
    Guided("albumin_low", _("Albumin at least"), "g/L", 20, 45, 1, "low", "albumin"),
    Guided("haemoglobin_low", _("Haemoglobin at least"), "g/L", 70, 120, 1, "low", "haemoglobin"),
    Guided("haemoglobin_high", _("Haemoglobin at most"), "g/L", 110, 170, 1, "high", "haemoglobin"),
    Guided("ferritin_low", _("Ferritin at least"), "µg/L", 20, 500, 10, "low", "ferritin"),
    Guided("ferritin_high", _("Ferritin at most"), "µg/L", 300, 2000, 10, "high", "ferritin"),
    Guided("saturation_low", _("Transferrin saturation at least"), "%", 5, 35, 1, "low", "transferrin_saturation"),
    Guided("saturation_high", _("Transferrin saturation at most"), "%", 25, 70, 1, "high", "transferrin_saturation"),
    Guided("pth_low", _("Parathyroid hormone at least"), "pmol/L", 1, 40, 1, "low", "parathyroid_hormone"),
    Guided("pth_high", _("Parathyroid hormone at most"), "pmol/L", 20, 200, 1, "high", "parathyroid_hormone"),
    ("bloods_days", _("Days after bloods were due before asking"), "d", 7, 0, 60, 1, "", _PRACTICE),
)  # fmt: skip
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
_TABLE: dict[Family, Sequence[Row | Guided]] = {
    Family.FLUID: _FLUID,
    Family.PRESSURE: _PRESSURE,
    Family.DOSE: _DOSE,
    Family.ACCESS: _ACCESS,
    Family.CIRCUIT: _CIRCUIT,
    Family.COMPOSITION: _COMPOSITION,
    Family.BLOODS: _BLOODS,
    Family.PROCESS: _PROCESS,
}


def _kinds() -> Iterator[LimitKind]:
    for family, rows in _TABLE.items():
        for row in rows:
            yield _guided(row, family) if isinstance(row, Guided) else LimitKind(*row, family)


def _guided(row: Guided, family: Family) -> LimitKind:
    """A limit that starts from an end of a row of guidance."""
    said = GUIDANCE[row.quantity]
    given = (row.name, row.label, row.unit, said.end(row.end), row.least, row.most, row.step)
    return LimitKind(*given, "", said.status, family, row.quantity)


KINDS: dict[str, LimitKind] = {kind.name: kind for kind in _kinds()}
