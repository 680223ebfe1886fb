"""News that travels upwards: `dosing` and `alerts` listen, `sessions` knows neither.

Sent inside the transaction that writes, so what a listener writes stands or falls with the news.
"""

from django.dispatch import Signal

treatment_recorded = Signal()
"""record: TreatmentRecord, written or corrected."""

bloods_entered = Signal()
"""results: list of BloodResult of one patient."""

prescription_signed = Signal()
"""prescription: Prescription, from now on in force."""

surroundings_noted = Signal()
"""patient, at: a water test, a count, a task, a delivery, a training, a machine or a due day of theirs changed."""
