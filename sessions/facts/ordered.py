"""What a prescription orders, each thing declared once, in the order of the form that writes it.

Columns of the model, the form and its groups, refusals, the list of what changes, the lines that phone, pages, review
and flow sheet show: all read this. Ranges are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from sessions.facts.fields import WEIGHT, Field

TIME = _("How often and how long")
FLUID = _("Fluid")
CIRCUIT = _("Blood and dialysate")
ANTICOAGULATION = _("Anticoagulation")
NOTE = _("Note")


@dataclass(frozen=True, slots=True)
class Ordered:
    """One thing that is ordered.

    group: the part of the form it stands in. number: its field where it is a number, None for a choice or a text,
    which has a label. needed: whether a prescription cannot be without it. main: its place among what is set before
    each treatment, to be read from an arm's length; None for the rest. line: whether it has a line of its own; what has
    none is told with another one. on_paper: whether the blank flow sheet has a line for it.
    """

    group: str
    number: Field | None = None
    label: str = ""
    needed: bool = True
    main: int | None = None
    line: bool = True
    on_paper: bool = True

    @property
    def heading(self) -> str:
        """Its name with the unit, in the language of the reader."""
        return self.number.heading if self.number else gettext(self.label)

    @property
    def short_words(self) -> str:
        """Its name where the unit stands beside the number, in the language of the reader."""
        return self.number.short_words if self.number else gettext(self.label)


ORDERED: dict[str, Ordered] = {
    "days_per_week": Ordered(
        TIME,
        Field(_("Days a week"), "", (0.5, 7), (2, 7), 0.5, short=_("Treatments a week")),
        line=False,
        on_paper=False,
    ),
    "weekdays": Ordered(TIME, label=_("Days"), on_paper=False),
    "minutes": Ordered(
        TIME, Field(_("Minutes"), "min", (30, 900), (90, 600), 5, short=_("Length"), whole=True), main=2
    ),
    "max_minutes": Ordered(
        TIME, Field(_("Longest allowed"), "min", (30, 900), (90, 660), 5, whole=True), on_paper=False
    ),
    "reading_interval_minutes": Ordered(
        TIME,
        Field(_("Readings every"), "min", (5, 480), (15, 240), 5, whole=True),
        on_paper=False,
    ),
    "quiet_at_night": Ordered(
        TIME, label=_("No readings asked for during sleep"), needed=False, line=False, on_paper=False
    ),
    "target_weight_kg": Ordered(FLUID, replace(WEIGHT, label=_("Target weight")), main=1),
    "uf_rate_limit_ml_kg_h": Ordered(
        FLUID,
        Field(
            _("UF rate limit"),
            "mL/kg/h",
            (1, 30),
            (5, 13),
            0.5,
            short=_("UF rate, at most"),
            head=_("UF rate at most, mL/kg/h"),
        ),
        main=5,
    ),
    "qb_ml_min": Ordered(
        CIRCUIT,
        Field(_("Blood flow rate (Qb)"), "mL/min", (50, 600), (150, 450), 10, short=_("Blood flow (Qb)")),
        main=3,
    ),
    "qd_ml_min": Ordered(
        CIRCUIT,
        Field(_("Dialysate flow rate (Qd)"), "mL/min", (50, 1000), (80, 800), 10, short=_("Dialysate flow (Qd)")),
        main=4,
    ),
    "dialyser": Ordered(CIRCUIT, label=_("Dialyser")),
    "needle_gauge": Ordered(
        CIRCUIT,
        Field(_("Needle gauge"), "G", (13, 18), (14, 17), short=_("Needles"), whole=True),
        needed=False,
    ),
    "dialysate_k_mmol_l": Ordered(
        CIRCUIT, Field(_("Dialysate potassium"), "mmol/L", (0, 5), (1, 4), 0.5), on_paper=False
    ),
    "dialysate_ca_mmol_l": Ordered(
        CIRCUIT, Field(_("Dialysate calcium"), "mmol/L", (0, 3), (1.25, 1.75), 0.05, decimals=-2), on_paper=False
    ),
    "dialysate_na_mmol_l": Ordered(
        CIRCUIT, Field(_("Dialysate sodium"), "mmol/L", (100, 170), (130, 145), 1), on_paper=False
    ),
    "dialysate_buffer": Ordered(CIRCUIT, label=_("Dialysate"), line=False),
    "dialysate_buffer_mmol_l": Ordered(
        CIRCUIT, Field(_("Dialysate buffer"), "mmol/L", (10, 60), (24, 45), 1), on_paper=False
    ),
    "dialysate_temperature_c": Ordered(
        CIRCUIT,
        Field(_("Dialysate temperature"), "°C", (30, 40), (35, 37.5), 0.1, of_machine=True),
        main=6,
        on_paper=False,
    ),
    "anticoagulant": Ordered(ANTICOAGULATION, label=_("Anticoagulation")),
    "bolus_units": Ordered(
        ANTICOAGULATION,
        Field(_("Heparin bolus"), "units", (0, 20000), (0, 6000), 100, short=_("Bolus")),
        needed=False,
        on_paper=False,
    ),
    "rate_units_h": Ordered(
        ANTICOAGULATION,
        Field(_("Heparin rate"), "units/h", (0, 5000), (0, 2000), 50, short=_("Rate")),
        needed=False,
        on_paper=False,
    ),
    "stop_minutes_before_end": Ordered(
        ANTICOAGULATION,
        Field(_("Stop before the end"), "min", (0, 480), (0, 120), 5, whole=True),
        needed=False,
        on_paper=False,
    ),
    "note": Ordered(NOTE, label=_("Note"), needed=False, line=False, on_paper=False),
}
NUMBERS: dict[str, Field] = {name: each.number for name, each in ORDERED.items() if each.number}
"""What is ordered as a number, by its column."""
