"""From the database to the delivered course of a patient: see `dosing.science.course` for what it holds."""
