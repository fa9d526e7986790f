"""Meter and ΔP readings by the thousand, each row judged by itself."""
