"""What a technician is told for one task: the steps in their order, and the cautions."""
