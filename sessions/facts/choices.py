"""The fixed words that models, forms, API and the phone share."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _


class Sex(models.TextChoices):
    FEMALE = "female", _("female")
    MALE = "male", _("male")


class AccessKind(models.TextChoices):
    FISTULA = "fistula", _("fistula")
    GRAFT = "graft", _("graft")
    CATHETER = "catheter", _("catheter")


class Side(models.TextChoices):
    LEFT = "left", _("left")
    RIGHT = "right", _("right")


class SiteUse(models.TextChoices):
    ARTERIAL = "arterial", _("arterial (blood out)")
    VENOUS = "venous", _("venous (blood back)")


class Technique(models.TextChoices):
    BUTTONHOLE = "buttonhole", _("buttonhole")
    ROPE_LADDER = "rope_ladder", _("rope ladder")
    CATHETER = "catheter", _("catheter lumen")


class Anticoagulant(models.TextChoices):
    NONE = "none", _("none")
    HEPARIN = "heparin", _("unfractionated heparin")
    LOW_MOLECULAR = "low_molecular", _("low-molecular-weight heparin")
    OTHER = "other", _("other, see note")


class Buffer(models.TextChoices):
    BICARBONATE = "bicarbonate", _("bicarbonate")
    LACTATE = "lactate", _("lactate")


class RecordState(models.TextChoices):
    OPEN = "open", _("still being filled in")
    FINISHED = "finished", _("handed over")
    MISTAKEN = "mistaken", _("begun by mistake")


class RecordSource(models.TextChoices):
    """Out of what a record was written; nothing where it was entered while it happened."""

    PAPER = "paper", _("entered from paper")


class EventKind(models.TextChoices):
    HYPOTENSION = "hypotension", _("Low blood pressure")
    CRAMP = "cramp", _("Cramp")
    HEADACHE = "headache", _("Headache")
    NAUSEA = "nausea", _("Nausea or vomiting")
    CHEST_PAIN = "chest_pain", _("Chest pain")
    BREATHLESS = "breathless", _("Short of breath")
    DIZZY = "dizzy", _("Dizzy")
    FAINTED = "fainted", _("Fainted")
    FEVER_CHILLS = "fever_chills", _("Fever or shivering")
    BLEEDING = "bleeding", _("Bleeding that was hard to stop")
    NEEDLE_DISLODGED = "needle_dislodged", _("Needle came out")
    AIR = "air", _("Air in the line")
    CLOTTING = "clotting", _("Clotting in lines or dialyser")
    INFILTRATION = "infiltration", _("Swelling at a needle")
    BLOOD_LEAK = "blood_leak", _("Blood-leak alarm")
    MACHINE_ALARM = "machine_alarm", _("Machine alarm that stayed")
    ACCESS_REDNESS = "access_redness", _("Redness, pain or pus at the access")
    ACCESS_SILENT = "access_silent", _("No buzz at the access")
    LINE_APART = "line_apart", _("A line came apart")
    CATHETER_OPEN = "catheter_open", _("Catheter line or cap came off")
    BLOOD_COLOUR = "blood_colour", _("Blood in the lines of a wrong colour")
    CHLORINE = "chlorine_connected", _("Chlorine over the limit while connected")
    ALLERGY = "allergic_reaction", _("Allergic reaction")
    HEART = "heart_rhythm", _("Heart racing, very slow or uneven")
    NO_ANSWER = "no_answer", _("The person did not answer")
    POWER_FAILURE = "power_failure", _("Power failure")
    WATER_FAILURE = "water_failure", _("Water failure")
    OTHER = "other", _("Something else")


class EventOutcome(models.TextChoices):
    """How trouble that was gone through step by step came to its end."""

    WENT_ON = "went_on", _("the treatment went on")
    ENDED = "ended", _("the treatment was ended")


class HelpCalled(models.TextChoices):
    """Who was called because of it, as the patient says."""

    UNIT = "unit", _("the unit was called")
    EMERGENCY = "emergency", _("the emergency number was called")
    NOT_REACHED = "not_reached", _("the unit was not reached")


class CheckPart(models.TextChoices):
    """Which part of the evening a check belongs to."""

    SETUP = "setup", _("before the treatment")
    ACCESS = "access", _("at the access")
    AFTER = "after", _("after the treatment")


class NeedleKind(models.TextChoices):
    SHARP = "sharp", _("sharp")
    BLUNT = "blunt", _("blunt")
    PLASTIC = "plastic", _("plastic cannula")


class PlanChoice(models.TextChoices):
    """What the patient chose where the fluid does not fit the prescribed length at the limit of the UF rate."""

    AS_PRESCRIBED = "as_prescribed", _("as prescribed")
    LONGER = "longer", _("longer, within what is allowed")
    LEAVE_SOME = "leave_some", _("leave some fluid for next time")


class DialyserLook(models.TextChoices):
    """How the dialyser looks after rinse-back."""

    CLEAR = "clear", _("clear")
    FEW_FIBRES = "few_fibres", _("a few dark fibres")
    HALF = "half", _("about half of it dark")
    CLOTTED = "clotted", _("clotted")


class BloodReturn(models.TextChoices):
    """What became of the blood in the lines at the end."""

    WHOLE = "whole", _("given back")
    PART = "part", _("given back in part")
    NONE = "none", _("not given back")


class EarlyReason(models.TextChoices):
    """Why a treatment ended before its planned time."""

    UNWELL = "unwell", _("felt unwell")
    PRESSURE = "pressure", _("low blood pressure")
    CLOTTED = "clotted", _("clotted")
    NEEDLE = "needle", _("trouble with the access or a needle")
    MACHINE = "machine", _("machine, power or water")
    TIME = "time", _("no more time")
    UNIT = "unit", _("the unit said so")
    OTHER = "other", _("another reason, see notes")


class Limb(models.TextChoices):
    """Where the drawn picture of an access lies."""

    FOREARM = "forearm", _("forearm")
    UPPER_ARM = "upper_arm", _("upper arm")
    THIGH = "thigh", _("thigh")
    NECK_CHEST = "neck_chest", _("neck and chest")


class TextKind(models.TextChoices):
    """What the unit writes for the bedside."""

    CHECKLIST = "checklist", _("checks")
    RUN_SHEET = "run_sheet", _("run sheet")
    CARDS = "cards", _("emergency cards")
    FIRST_AID = "first_aid", _("first aid")
    FLOWS = "flows", _("trouble, step by step")


class FlowDirection(models.TextChoices):
    """Which way the blood runs along the needle sites, with the hand or foot below."""

    UP = "up", _("towards the trunk")
    DOWN = "down", _("away from the trunk")


class LeftOutReason(models.TextChoices):
    """Why there is no treatment today, as the patient says."""

    ILL = "ill", _("ill")
    AWAY = "away", _("away from home")
    HOSPITAL = "hospital", _("in hospital")
    OTHER = "other", _("another reason")


class EntryKind(models.TextChoices):
    """What a phone could not hand over to the unit."""

    TREATMENT = "treatment", _("a treatment")
    NOTE = "note", _("a note or an answer")
    DAMAGED = "damaged", _("something that the phone cannot read any more")


class EntryEnd(models.TextChoices):
    """How it ended with an entry that could not be handed over."""

    SENT = "sent", _("it came in after all")
    LEFT = "left", _("the phone let it go")
    SEEN = "seen", _("somebody at the unit has seen to it")


class SampleTiming(models.TextChoices):
    PRE = "pre", _("before the treatment")
    POST = "post", _("after the treatment")
    APART = "apart", _("not with a treatment")


class PostSampleMethod(models.TextChoices):
    SLOW_FLOW = "slow_flow", _("slow blood flow before the sample")
    STOP_DIALYSATE = "stop_dialysate", _("dialysate stopped before the sample")
    LATE = "late", _("late: 30 to 60 minutes after the end")
    NEITHER = "neither", _("neither, or not known")


class InfectionKind(models.TextChoices):
    BLOODSTREAM = "bloodstream", _("bloodstream infection from the access")
    SITE = "site", _("infection at a needle site or the exit")


class StayKind(models.TextChoices):
    """Why no treatment at home is due for some days."""

    HOSPITAL = "hospital", _("in hospital")
    AWAY = "away", _("away: on holiday, or treated elsewhere")
    CENTRE = "centre", _("in the centre for a time")
    PAUSED = "paused", _("home dialysis paused")


class LeftReason(models.TextChoices):
    """Why somebody left the programme. The first ends the technique; the others take the person out of the count."""

    CENTRE = "centre", _("back to dialysis in a centre")
    TRANSPLANT = "transplant", _("transplanted")
    DIED = "died", _("died")
    PERITONEAL = "peritoneal", _("to peritoneal dialysis")
    RECOVERED = "recovered", _("kidneys recovered")
    MOVED = "moved", _("moved away")
    TRANSFERRED = "transferred", _("transferred to another home unit")


class MessageFormat(models.TextChoices):
    """How a laboratory's message is written."""

    CSV = "csv", _("table (CSV)")
    HL7 = "hl7", _("HL7 v2 ORU^R01")
    FHIR = "fhir", _("FHIR R4 Bundle")


class Analyte(models.TextChoices):
    """Blood results by LOINC code; values are kept in the canonical unit, that of `plausible.BLOOD`."""

    UREA = "22664-7", _("Urea")
    CREATININE = "14682-9", _("Creatinine")
    POTASSIUM = "2823-3", _("Potassium")
    SODIUM = "2951-2", _("Sodium")
    BICARBONATE = "1963-8", _("Bicarbonate")
    CALCIUM = "2000-8", _("Calcium")
    PHOSPHATE = "14879-1", _("Phosphate")
    ALBUMIN = "1751-7", _("Albumin")
    HAEMOGLOBIN = "718-7", _("Haemoglobin")
    FERRITIN = "2276-4", _("Ferritin")
    TRANSFERRIN_SATURATION = "2502-3", _("Transferrin saturation")
    PTH = "14866-8", _("Parathyroid hormone")
    MAGNESIUM = "2601-3", _("Magnesium")
    CRP = "1988-5", _("C-reactive protein")
    GLUCOSE = "14749-6", _("Glucose")
    HBA1C = "59261-8", _("Haemoglobin A1c")
    B2M = "1952-1", _("β2-microglobulin")


class BloodBound(models.TextChoices):
    """What a laboratory writes where it only knows that a value lies beyond a figure."""

    UNDER = "<", _("less than")
    AT_MOST = "<=", _("at most")
    OVER = ">", _("more than")
    AT_LEAST = ">=", _("at least")
