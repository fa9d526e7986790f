"""A plant folder as a stranger would write it: from the written contract alone, with no look at the program.

Two invented plants (one metric, one that thinks in US units), about thirty systems, two to three years of
facts, and most of the freedom that the contract leaves to whoever writes the files. Everything in it (plants,
makers, part numbers, oils) is invented; the physics is this package's own and only has to be plausible.

    python -m tests.flow.foreign_plant TARGET

It must stay a stranger: nothing here imports the program or is adapted to how the program reads.
"""

from tests.flow.foreign_plant.writing import write_folder

__all__ = ["write_folder"]
