"""Every constant of the science, once, with its unit, source, year and how far that source was seen.

`seen` means the number was read in the source or in an excerpt of it, `abstract` in its abstract, `seen second-hand`
where others quote it; `from memory` that it was recalled and the paper not opened (a note says where an independent
computation supports it); `common practice` that no source is known. A unit that relies on a number not seen should
look it up.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Self

import numpy as np


class Status(StrEnum):
    """How far the source of a number was seen."""

    SEEN = "seen"
    ABSTRACT = "abstract"
    SECOND_HAND = "seen second-hand"
    MEMORY = "from memory"
    PRACTICE = "common practice"
    COMPUTED = "computed"
    UNIT = "entered by the unit"


class Constant(np.float64):
    """A number that carries its unit and where it comes from.

    It is NumPy's float and not Python's, so that a division by zero in a formula gives infinity, which a
    check can name, and no exception.
    """

    unit: str
    source: str
    year: int
    status: Status
    note: str

    def __new__(cls, value: float, unit: str, source: str, year: int, status: Status, note: str = "") -> Self:
        self = super().__new__(cls, value)
        self.unit, self.source, self.year, self.status, self.note = unit, source, year, status, note
        return self


_SEEN, _SECOND, _MEMORY = Status.SEEN, Status.SECOND_HAND, Status.MEMORY
_PRACTICE, _COMPUTED = Status.PRACTICE, Status.COMPUTED

MINUTES_PER_WEEK = Constant(10080, "min", "7 x 24 x 60", 0, _COMPUTED)
MINUTES_PER_DAY = Constant(1440, "min", "24 x 60", 0, _COMPUTED)
DAYS_PER_YEAR = Constant(365.25, "d/a", "Julian year", 0, _COMPUTED)
ML_PER_L = Constant(1000, "mL/L", "SI", 0, _COMPUTED)

# Single-pool dose
_DAUGIRDAS_1993 = "Daugirdas, J Am Soc Nephrol 4:1205-13"
GENERATION_PER_HOUR = Constant(
    0.008, "1/h", _DAUGIRDAS_1993, 1993, _SEEN, "seen in EBPG 2002, II.1.2; thrice-weekly, midweek, from memory"
)
GENERATION_DAYS = Constant(
    0.0174,
    "d/h",
    "Daugirdas et al., Nephrol Dial Transplant 28:2156-60",
    2013,
    _MEMORY,
    "divided by the days since the last treatment began; an exact single-pool model gives 0.0125-0.0212",
)
FLUID_TERM = Constant(4.0, "1", _DAUGIRDAS_1993, 1993, _SEEN)
FLUID_TERM_RATIO = Constant(3.5, "1", _DAUGIRDAS_1993, 1993, _SEEN)

# Equilibrated dose
_SCHNEDITZ_1995 = "Daugirdas and Schneditz, ASAIO J 41:M719-24"
_TATTERSALL_1996 = "Tattersall et al., Kidney Int 50:2094-102"
_LEYPOLDT_E = "Leypoldt et al., in KDOQI 2006 haemodialysis adequacy, Table 4"
RATE_ARTERIAL_SLOPE = Constant(0.6, "h", _SCHNEDITZ_1995, 1995, _SEEN)
RATE_ARTERIAL_OFFSET = Constant(0.03, "1", _SCHNEDITZ_1995, 1995, _SEEN)
RATE_VENOUS_SLOPE = Constant(0.47, "h", _SCHNEDITZ_1995, 1995, _SEEN, "seen in EBPG 2002, II.1.2")
RATE_VENOUS_OFFSET = Constant(0.02, "1", _SCHNEDITZ_1995, 1995, _SEEN, "seen in EBPG 2002, II.1.2")
TATTERSALL_ARTERIAL = Constant(35.0, "min", _TATTERSALL_1996, 1996, _MEMORY, "form seen")
TATTERSALL_VENOUS = Constant(22.0, "min", _TATTERSALL_1996, 1996, _MEMORY, "form seen")
TATTERSALL_HEMO = Constant(
    30.7,
    "min",
    "Daugirdas et al., J Am Soc Nephrol 15:194-203",
    2004,
    _MEMORY,
    "with the weekly equation of 2010 it agrees with a two-pool simulation within 1.5 %",
)
LEYPOLDT_SLOPE = Constant(0.924, "1", _LEYPOLDT_E, 2004, _MEMORY)
LEYPOLDT_RATE = Constant(0.395, "h", _LEYPOLDT_E, 2004, _MEMORY)
LEYPOLDT_OFFSET = Constant(0.056, "1", _LEYPOLDT_E, 2004, _MEMORY)

# Weekly standard dose
_DAUGIRDAS_2010 = "Daugirdas et al., Kidney Int 77:637-44"
_SIMULATION = "a two-pool simulation of 15 schedules agrees within -0.5 to +1.5 %"
WEEKLY_FLUID = Constant(0.74, "1", _DAUGIRDAS_2010, 2010, _MEMORY, _SIMULATION)
KIDNEY_NUMERATOR = Constant(0.974, "1", _DAUGIRDAS_2010, 2010, _MEMORY, _SIMULATION)
KIDNEY_SHIFT = Constant(1.62, "1", _DAUGIRDAS_2010, 2010, _MEMORY, _SIMULATION)
KIDNEY_FLOOR = Constant(0.4, "1", _DAUGIRDAS_2010, 2010, _MEMORY, _SIMULATION)
REFERENCE_VOLUME_PER_SURFACE = Constant(
    20.0, "L/m2", "Daugirdas et al., Semin Dial 21:415 (PMC2692381)", 2008, _SEEN, "adults"
)

# Two-pool urea model and what laboratories measure
_VARTIA = "Vartia, doctoral thesis on continuous-equivalent urea clearances, section 4.2.1"
PLASMA_WATER = Constant(0.93, "1", _VARTIA, 2012, _SEEN, "the year of the thesis is from memory")
BLOOD_WATER = Constant(0.86, "1", _VARTIA, 2012, _SEEN, "0.894 is in use as well")
EXTRACELLULAR_SHARE = Constant(1 / 3, "1", _VARTIA, 2012, _SEEN, "of the post-dialysis volume")
POOL_EXCHANGE = Constant(0.016, "1/min", _VARTIA, 2012, _SEEN, "times the post-dialysis volume")
_UNSEEN = "no source for the size; the intervals that follow from it are held against an independent simulation"
VOLUME_SPREAD = Constant(
    0.12,
    "1",
    "Johansson et al., J Am Soc Nephrol 12:568",
    2001,
    _PRACTICE,
    "of the log of V around anthropometry; seen there: correlation 0.89 of Watson with tritium in 165 patients",
)
GENERATION_SPREAD = Constant(
    0.30, "1", "common practice", 0, _PRACTICE, "of log G: nPCR of 0.6 to 1.7 g/kg/d holds nearly everybody"
)
CLEARANCE_SPREAD = Constant(0.10, "1", "common practice", 0, _PRACTICE, "of delivered over noted clearance")
KIDNEY_SPREAD = Constant(0.15, "1", "common practice", 0, _PRACTICE, "of a kidney clearance from one collection")
EXCHANGE_SPREAD = Constant(0.25, "1", "common practice", 0, _PRACTICE, "of X/V between patients")
LABORATORY_ERROR = Constant(0.03, "1", "common practice", 0, _PRACTICE, "of one urea")
ROUNDING_ERROR = Constant(0.03, "mmol/L", "0.1/sqrt(12), for results in tenths", 0, _COMPUTED)
NIGHT_ERROR = Constant(0.05, "1", "common practice", 0, _PRACTICE, _UNSEEN)
DIET_ERROR = Constant(0.12, "1", "common practice", 0, _PRACTICE, _UNSEEN)
CLEARANCE_DRIFT = Constant(0.02, "1", "common practice", 0, _PRACTICE, "in a month; " + _UNSEEN)
DIET_DRIFT = Constant(0.05, "1", "common practice", 0, _PRACTICE, "in a month; " + _UNSEEN)
DOSE_ERROR = Constant(0.01, "1", "common practice", 0, _PRACTICE, "of the log of the weekly dose; " + _UNSEEN)
FORECAST_WEIGHT = Constant(
    6.0, "1", "common practice", 0, _PRACTICE, "forecasts that the expected error counts for beside the patient's own"
)

# Dialyser
LABEL_TO_LIVING = Constant(
    0.8, "1", "HEMO study, Leypoldt and Depner, in KDOQI 2006", 2006, _MEMORY, "0.57 to 0.82 are in use"
)
FLOW_GAP_START = Constant(200.0, "mL/min", "Depner transit-time data, points seen", 1991, _COMPUTED)
FLOW_GAP_SCALE = Constant(2000.0, "mL/min", "line through 0, 5, 10 % at 200, 300, 400", 1991, _COMPUTED)

# Fluid
_MERMELSTEIN = "Mermelstein et al., Clin J Am Soc Nephrol 18:767"
UF_LINE_SLOPE = Constant(3.0, "mL/h/kg", _MERMELSTEIN, 2023, _SEEN)
UF_LINE_MEAN = Constant(330.0, "mL/h", _MERMELSTEIN, 2023, _SEEN, "average rate of the cohort")
UF_LINE_RISK_20 = Constant(500.0, "mL/h", _MERMELSTEIN, 2023, _SEEN, "20 % higher risk of death")
UF_LINE_RISK_40 = Constant(630.0, "mL/h", _MERMELSTEIN, 2023, _SEEN, "40 % higher risk of death")
_US_MEASURE = "Kidney Care Quality Alliance, as in Am J Kidney Dis 68:522"
HIGH_UF_RATE = Constant(13.0, "mL/kg/h", _US_MEASURE, 2016, Status.ABSTRACT, "or more, in a treatment that is short")
HIGH_UF_MINUTES = Constant(240.0, "min", _US_MEASURE, 2016, Status.ABSTRACT, "shorter counts")
# Gain between treatments and what comes in during one
_LOPEZ_GOMEZ = "Lopez-Gomez et al., Kidney Int 67 Suppl 93:S63-8"
GAIN_OF_WEIGHT = Constant(
    3.5, "%", _LOPEZ_GOMEZ, 2005, Status.ABSTRACT, "mean of 134 patients, three treatments a week"
)
GAIN_BETWEEN = Constant(1.1, "%", _LOPEZ_GOMEZ, 2005, Status.ABSTRACT, "standard deviation between the patients")
GAIN_SCATTER = Constant(0.25, "1", "no source known", 0, _PRACTICE, "relative, of one patient from night to night")
GIVEN_USUAL = Constant(0.4, "L", "no source known", 0, _PRACTICE, "rinse-back and drinks, where nobody noted any")
_FLYTHE_2015 = "Flythe et al., J Am Soc Nephrol 26:724"
NADIR_LOW = Constant(90.0, "mmHg", _FLYTHE_2015, 2015, _SEEN, "systolic before below 160")
NADIR_HIGH = Constant(100.0, "mmHg", _FLYTHE_2015, 2015, _SEEN, "systolic before 160 or more")
NADIR_SWITCH = Constant(160.0, "mmHg", _FLYTHE_2015, 2015, _SEEN)
FALL_SYSTOLIC = Constant(20.0, "mmHg", "KDOQI 2005; European guideline 2007 (PMC6518736)", 2007, _SEEN)
FALL_MEAN = Constant(10.0, "mmHg", "KDOQI 2005; European guideline 2007 (PMC6518736)", 2007, _SEEN)

# Vascular access
NEAR_TREATMENT_FLOW = Constant(0.1, "1", "common practice, no source", 2026, _PRACTICE)
_GALLEGO = "Gallego et al., Nefrologia 17:322"
_GALLEGO_NOTE = "radiocephalic fistulas, n 20; the abstract prints the gauges against its own text, read by the text"
_FOUR_GAUGES = "randomised comparison of four gauges, n 21, year not seen"
VENOUS_FLOW_SLOPE = {
    14: Constant(0.3276, "mmHg/(mL/min)", _GALLEGO, 1997, _SEEN, _GALLEGO_NOTE),
    15: Constant(0.443, "mmHg/(mL/min)", _GALLEGO, 1997, _SEEN, _GALLEGO_NOTE),
    16: Constant(0.613, "mmHg/(mL/min)", "midway between 15 and 17 G", 0, _PRACTICE, "no source"),
    17: Constant(0.7833, "mmHg/(mL/min)", _FOUR_GAUGES, 0, _SEEN, "147 mmHg at 200, 382 at 500 mL/min"),
}
"""How venous pressure changes with blood flow, by needle gauge."""
ARTERIAL_FLOW_SLOPE = {
    14: Constant(-0.394, "mmHg/(mL/min)", _GALLEGO, 1997, _SEEN, _GALLEGO_NOTE),
    15: Constant(-0.556, "mmHg/(mL/min)", _GALLEGO, 1997, _SEEN, _GALLEGO_NOTE),
    16: Constant(-0.769, "mmHg/(mL/min)", "15 G in the ratio of the venous slopes", 0, _COMPUTED, "no source"),
    17: Constant(-0.983, "mmHg/(mL/min)", "15 G in the ratio of the venous slopes", 0, _COMPUTED, "no source"),
}
"""How arterial (pre-pump) pressure changes with blood flow, by needle gauge."""

# Body
_WATSON = "Watson, Watson and Batt, Am J Clin Nutr 33:27-39"
_WATSON_NOTE = "all seven coefficients seen in public code that cites the paper"
WATSON_MALE_BASE = Constant(2.447, "L", _WATSON, 1980, _SECOND, _WATSON_NOTE)
WATSON_MALE_AGE = Constant(-0.09516, "L/a", _WATSON, 1980, _SECOND, _WATSON_NOTE)
WATSON_MALE_HEIGHT = Constant(0.1074, "L/cm", _WATSON, 1980, _SECOND, _WATSON_NOTE)
WATSON_MALE_WEIGHT = Constant(0.3362, "L/kg", _WATSON, 1980, _SECOND, _WATSON_NOTE)
WATSON_FEMALE_BASE = Constant(-2.097, "L", _WATSON, 1980, _SECOND, _WATSON_NOTE)
WATSON_FEMALE_HEIGHT = Constant(0.1069, "L/cm", _WATSON, 1980, _SECOND, _WATSON_NOTE)
WATSON_FEMALE_WEIGHT = Constant(0.2466, "L/kg", _WATSON, 1980, _SECOND, _WATSON_NOTE)
_DU_BOIS = "Du Bois and Du Bois, Arch Intern Med 17:863"
_PACKAGES = "seen in general packages that cite the paper"
DU_BOIS_FACTOR = Constant(0.007184, "m2", _DU_BOIS, 1916, _SECOND, _PACKAGES)
DU_BOIS_HEIGHT = Constant(0.725, "1", _DU_BOIS, 1916, _SECOND, _PACKAGES)
DU_BOIS_WEIGHT = Constant(0.425, "1", _DU_BOIS, 1916, _SECOND, _PACKAGES)
MODELLED_OVER_WATSON = Constant(
    0.9, "1", "HEMO study", 2003, _MEMORY, "Watson reads 10 to 15 % above the modelled volume"
)
KIDNEY_LOSS_A_YEAR = Constant(
    1 / 3,
    "1",
    "Obi et al., J Am Soc Nephrol 27:3758-68",
    2016,
    _SEEN,
    "abstract: -1.1 (SD 2.8) of a median 3.3 mL/min/1.73 m2 in the first year of 6538 patients; its size differs much",
)
STANDARD_SURFACE = Constant(1.73, "m2", "convention of kidney function", 0, _PRACTICE)

# Protein
_BORAH = "Borah et al., Kidney Int 14:491, in the form scaled by volume (Sargent and Gotch)"
PCR_PER_GENERATION = Constant(9.35, "g/d per mg N/min", _BORAH, 1978, _MEMORY)
PCR_PER_VOLUME = Constant(0.294, "g/d/L", _BORAH, 1978, _MEMORY, "0.29 in some texts")
WATER_SHARE_OF_WEIGHT = Constant(0.58, "L/kg", _BORAH, 1978, _MEMORY, "normalised weight is V/0.58")

# Molar masses and bloods
_IUPAC = "IUPAC standard atomic weights"
MOLAR_MASS = {
    "urea": Constant(60.056, "g/mol", _IUPAC, 2013, _MEMORY, "CH4N2O"),
    "urea_nitrogen": Constant(28.014, "g/mol", _IUPAC, 2013, _SEEN, "two nitrogen atoms"),
    "creatinine": Constant(113.118, "g/mol", _IUPAC, 2013, _MEMORY, "C4H7N3O"),
    "calcium": Constant(40.078, "g/mol", _IUPAC, 2013, _MEMORY),
    "phosphorus": Constant(30.974, "g/mol", _IUPAC, 2013, _MEMORY),
    "magnesium": Constant(24.305, "g/mol", _IUPAC, 2013, _MEMORY),
    "iron": Constant(55.845, "g/mol", _IUPAC, 2013, _MEMORY),
    "glucose": Constant(180.156, "g/mol", _IUPAC, 2013, _MEMORY, "C6H12O6"),
    "haemoglobin_subunit": Constant(16114.5, "g/mol", "IFCC convention", 0, _MEMORY, "one iron a mole"),
    "parathyroid_hormone": Constant(9425.0, "g/mol", "amino acid sequence 1-84", 0, _MEMORY),
}
_PAYNE = "Payne et al., Br Med J 4:643"
CALCIUM_PER_ALBUMIN = Constant(0.02, "mmol/g", _PAYNE, 1973, _MEMORY)
USUAL_ALBUMIN = Constant(40.0, "g/L", _PAYNE, 1973, _MEMORY)

# Solutes beyond urea
_LEYPOLDT_2013 = "Leypoldt et al., Kidney Int, doi 10.1038/ki.2013.205"
_ABSTRACT = Status.ABSTRACT
PHOSPHATE_MOBILISATION = Constant(90, "mL/min", _LEYPOLDT_2013, 2013, _ABSTRACT, "median 87, middle half 65 to 116")
PHOSPHATE_SHARE_OF_WEIGHT = Constant(0.136, "L/kg", _LEYPOLDT_2013, 2013, _ABSTRACT, "central volume after treatment")
PHOSPHATE_SECOND_POOL = Constant(
    3, "1", "Daugirdas, Nephrol Dial Transplant 33:76", 2018, _ABSTRACT, "times body water"
)
PHOSPHATE_KOA = Constant(
    0.5, "1", "assumed here", 0, _PRACTICE, "of urea's; gives 157 where 160 ± 14 was measured in vivo"
)
PHOSPHATE_BY_KIDNEY = Constant(0.8, "1", "assumed here", 0, _PRACTICE, "of the kidney's clearance of urea")
POTASSIUM_MOBILISATION = Constant(158, "mL/min", "Agar et al., n 551", 0, _MEMORY, "111 to 235")
POTASSIUM_SHARE_OF_WEIGHT = Constant(0.216, "L/kg", "Agar et al., n 551", 0, _MEMORY, "15.6 L at 72 kg")
POTASSIUM_SECOND_POOL = Constant(110, "L", "assumed here", 0, _PRACTICE, "apparent; 60 to 240 tried")
POTASSIUM_BY_GUT = Constant(3, "mL/min", "assumed here", 0, _PRACTICE)
B2M_SHARE_OF_WATER = Constant(0.30, "1", "Int J Artif Organs 25:411", 2002, _ABSTRACT, "0.25 to 0.36")
B2M_POOLS = Constant(4.4, "1", "Int J Artif Organs 25:411", 2002, _ABSTRACT, "whole over first; 3.5 to 5.3")
B2M_EXCHANGE = Constant(55, "mL/min", "Int J Artif Organs 25:411", 2002, _ABSTRACT, "30 to 80")
B2M_NOT_BY_KIDNEY = Constant(3, "mL/min", "recalled without its paper", 0, _MEMORY)
B2M_MADE = Constant(0.14, "mg/min", "recalled without its paper", 0, _MEMORY)
B2M_BY_KIDNEY = Constant(1.5, "1", "assumed here", 0, _PRACTICE, "of the kidney's clearance of urea")
B2M_SIEVING = Constant(0.45, "1", "recalled without its paper", 0, _MEMORY, "0.43 to 0.5")
USUAL_HAEMATOCRIT = Constant(0.35, "1", "assumed here", 0, _PRACTICE, "0.30 to 0.40 moves ratios by less than 0.02")
_GROUPS = "six published groups, see solutes.PUBLISHED_GROUPS"
GROUPS_GIVE_BACK = Constant(0.554, "1", _GROUPS, 0, _COMPUTED, "of the fall of the logarithm at unchanged intake")
GROUPS_SCATTER = Constant(0.18, "1", _GROUPS, 0, _COMPUTED, "standard deviation of the logarithm")
GROUPS_ERROR = Constant(0.13, "1", _GROUPS, 0, _COMPUTED, "standard error of what is given back")
GROUPS_UP_TO = Constant(0.8, "1", _GROUPS, 0, _COMPUTED, "their highest model ratio is 0.77")
T_OF_FIVE = Constant(1.476, "1", "Student's t, five degrees of freedom, eight in ten", 0, _COMPUTED)
