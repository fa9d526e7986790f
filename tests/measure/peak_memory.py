"""The largest memory that this process had resident, in megabytes."""

import resource
import sys
from pathlib import Path

_STATUS = Path("/proc/self/status")


def peak_MB() -> float:
    """Linux counts it anew from `exec` on; elsewhere a child may also count what its parent had when it forked."""
    if _STATUS.exists():
        peak_kB = next(line for line in _STATUS.read_text().splitlines() if line.startswith("VmHWM")).split()[1]
        return int(peak_kB) / 1024
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / 1024**2 if sys.platform == "darwin" else peak / 1024
