"""What levels and top-ups say of the oil of each system."""
