"""Diagnoses: raised once by a pass, cleared when the data clear them."""
