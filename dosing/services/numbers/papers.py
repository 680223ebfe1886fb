"""The papers that equations come from, each cited once, and how far it was seen."""

from __future__ import annotations

from dosing.science.sources import Status

FLYTHE = "Flythe, Kimmel and Brunelli, Kidney Int 2011;79:250-7 (rate on weight after treatment)"
DAUGIRDAS = "Daugirdas, J Am Soc Nephrol 1993;4:1205-13; generation factor 2013 (NDT 28:2156-60)"

EBPG = "European Best Practice Guidelines, haemodynamics 2007"
WEEK = "Daugirdas et al., Kidney Int 2010;77:637-44"
MERMELSTEIN = "Mermelstein et al., Clin J Am Soc Nephrol 2023;18:767: risk raised by a fifth; three a week, in centre"
TATTERSALL = "Tattersall et al., Kidney Int 1996;50:2094-102"
KDOQI_2006 = "KDOQI 2006 haemodialysis adequacy, guideline 2"
COLLECTION = "European Best Practice Guidelines 2002"
SURFACE = "Daugirdas et al., Semin Dial 21:415, 2008 (PMC2692381)"
NADIR = "Flythe et al., J Am Soc Nephrol 26:724, 2015"
PAYNE = "Payne et al., Br Med J 4:643, 1973"
US_MEASURE = "Kidney Care Quality Alliance, as in Am J Kidney Dis 68:522, 2016"
SLOPES = "Theil 1950; Sen 1968"
SEEN = {
    FLYTHE: Status.ABSTRACT,
    DAUGIRDAS: Status.SECOND_HAND,
    EBPG: Status.MEMORY,
    WEEK: Status.MEMORY,
    MERMELSTEIN: Status.ABSTRACT,
    TATTERSALL: Status.MEMORY,
    KDOQI_2006: Status.SEEN,
    COLLECTION: Status.MEMORY,
    SURFACE: Status.ABSTRACT,
    NADIR: Status.ABSTRACT,
    PAYNE: Status.MEMORY,
    US_MEASURE: Status.ABSTRACT,
    SLOPES: Status.MEMORY,
}
"""How far each paper was seen; where numbers are from memory a simulation agrees with them, as the tests show."""
