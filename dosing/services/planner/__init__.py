"""Other prescriptions tried on a patient's own urea model. It computes; it advises nobody."""
