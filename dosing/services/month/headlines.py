"""The numbers by which a month is judged at one look, in the four blocks in which page and board show them."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

LENGTH = ("days_per_week", "weekdays", "minutes")


@dataclass(frozen=True, slots=True)
class TileKind:
    """What a block is about. lead: the number that is large; others: those beside it; fields: of a prescription."""

    key: str
    name: str
    lead: str
    others: tuple[str, ...]
    fields: tuple[str, ...]

    @property
    def title(self) -> str:
        """In the language of the reader."""
        return gettext(self.name)

    @property
    def numbers(self) -> tuple[str, ...]:
        """Their keys, the large one first."""
        return (self.lead, *self.others)


TILES = (
    TileKind(
        "dose", _("Dose"), "modelled_week_kidney",
        ("nights", "time", "measured_week_kidney", "single_pool_ktv_last"),
        (*LENGTH, "max_minutes", "qb_ml_min", "qd_ml_min", "dialyser"),
    ),
    TileKind(
        "fluid", _("Fluid"), "uf_over",
        ("uf_rate_mean", "off_target_mean", "gain_percent_mean", "pre_systolic_mean", "post_systolic_mean",
         "hypotension_share"),
        (*LENGTH, "target_weight_kg", "uf_rate_limit_ml_kg_h", "dialysate_na_mmol_l", "dialysate_temperature_c"),
    ),
    TileKind(
        "access", _("Access"), "venous_trend", ("arterial_trend",),
        ("qb_ml_min", "needle_gauge", "anticoagulant", "bolus_units", "rate_units_h", "stop_minutes_before_end"),
    ),
    TileKind(
        "bloods", _("Bloods and medicines"), "potassium",
        ("phosphate", "bicarbonate", "corrected_calcium", "parathyroid_hormone", "albumin", "haemoglobin", "ferritin",
         "transferrin_saturation"),
        (*LENGTH, "dialysate_k_mmol_l", "dialysate_ca_mmol_l", "dialysate_buffer", "dialysate_buffer_mmol_l"),
    ),
)  # fmt: skip
"""In the order in which they stand."""
HEADLINES = tuple(key for tile in TILES for key in tile.numbers)
NOT_EACH_MONTH = frozenset(
    {"measured_week_kidney", "single_pool_ktv_last", "parathyroid_hormone", "ferritin", "transferrin_saturation"}
)
"""What is asked for only now and then: a month that does not have it is not amiss."""
ALWAYS_ON_BOARD = frozenset(
    {"modelled_week_kidney", "nights", "uf_over", "uf_rate_mean", "off_target_mean", "pre_systolic_mean",
     "hypotension_share", "venous_trend", "arterial_trend", "potassium", "phosphate", "bicarbonate",
     "corrected_calcium", "albumin", "haemoglobin", "water"}
)  # fmt: skip
"""The others stand there only while they are outside their range."""
ONLY_AMISS = frozenset({"water"})
"""Of those, what stands there only while it is outside its range or not known."""
