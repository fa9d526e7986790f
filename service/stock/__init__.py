"""Stock: counts, movements since, and what could not be booked."""
