"""Evidence: pictures and papers of a close-out, known by their content, without where they were taken."""
