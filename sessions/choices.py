"""The fixed words that models, forms, API and the phone share."""

from __future__ import annotations

from django.db import models


class Sex(models.TextChoices):
    FEMALE = "female", "female"
    MALE = "male", "male"


class AccessKind(models.TextChoices):
    FISTULA = "fistula", "fistula"
    GRAFT = "graft", "graft"
    CATHETER = "catheter", "catheter"


class Side(models.TextChoices):
    LEFT = "left", "left"
    RIGHT = "right", "right"


class SiteUse(models.TextChoices):
    ARTERIAL = "arterial", "arterial (blood out)"
    VENOUS = "venous", "venous (blood back)"


class Technique(models.TextChoices):
    BUTTONHOLE = "buttonhole", "buttonhole"
    ROPE_LADDER = "rope_ladder", "rope ladder"
    CATHETER = "catheter", "catheter lumen"


class Anticoagulant(models.TextChoices):
    NONE = "none", "none"
    HEPARIN = "heparin", "unfractionated heparin"
    LOW_MOLECULAR = "low_molecular", "low-molecular-weight heparin"
    OTHER = "other", "other, see note"


class Buffer(models.TextChoices):
    BICARBONATE = "bicarbonate", "bicarbonate"
    LACTATE = "lactate", "lactate"


class RecordState(models.TextChoices):
    OPEN = "open", "still being filled in"
    FINISHED = "finished", "handed over"


class EventKind(models.TextChoices):
    HYPOTENSION = "hypotension", "Low blood pressure"
    CRAMP = "cramp", "Cramp"
    HEADACHE = "headache", "Headache"
    NAUSEA = "nausea", "Nausea or vomiting"
    CHEST_PAIN = "chest_pain", "Chest pain"
    BREATHLESS = "breathless", "Short of breath"
    DIZZY = "dizzy", "Dizzy"
    FAINTED = "fainted", "Fainted"
    FEVER_CHILLS = "fever_chills", "Fever or shivering"
    BLEEDING = "bleeding", "Bleeding that was hard to stop"
    NEEDLE_DISLODGED = "needle_dislodged", "Needle came out"
    AIR = "air", "Air in the line"
    CLOTTING = "clotting", "Clotting in lines or dialyser"
    INFILTRATION = "infiltration", "Swelling at a needle"
    MACHINE_ALARM = "machine_alarm", "Machine alarm that stayed"
    ACCESS_REDNESS = "access_redness", "Redness, pain or pus at the access"
    OTHER = "other", "Something else"


class SampleTiming(models.TextChoices):
    PRE = "pre", "before the treatment"
    POST = "post", "after the treatment"
    APART = "apart", "not with a treatment"


class PostSampleMethod(models.TextChoices):
    SLOW_FLOW = "slow_flow", "slow blood flow before the sample"
    STOP_DIALYSATE = "stop_dialysate", "dialysate stopped before the sample"
    NEITHER = "neither", "neither, or not known"


class Analyte(models.TextChoices):
    """Blood results by LOINC code; values are kept in the canonical unit of `bloods.UNITS`."""

    UREA = "22664-7", "Urea"
    CREATININE = "14682-9", "Creatinine"
    POTASSIUM = "2823-3", "Potassium"
    SODIUM = "2951-2", "Sodium"
    BICARBONATE = "1963-8", "Bicarbonate"
    CALCIUM = "2000-8", "Calcium"
    PHOSPHATE = "14879-1", "Phosphate"
    ALBUMIN = "1751-7", "Albumin"
    HAEMOGLOBIN = "718-7", "Haemoglobin"
    FERRITIN = "2276-4", "Ferritin"
    PTH = "14866-8", "Parathyroid hormone"
