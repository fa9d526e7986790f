"""How large what comes from outside may be: each limit bounds the memory or the time of an import.

All are ours. They stand far above what a plant sends, and every refusal names its limit.
"""

MOST_BYTES = 1024**3
"""Of a whole folder, unpacked: ten million readings."""

MOST_MEMBERS = 1000
MOST_DIRECTORY_BYTES = 1024**2
"""Of an archive or a workbook, and of its directory, which is read before the members can be counted."""

MOST_EXPANSION = 200
"""Unpacked to packed. Deflate shrinks tables of readings 5 to 30 times; its own limit is 1032."""

HARMLESS_BYTES = 16 * 1024**2
"""A member this small cannot fill a memory, however well it is packed."""

LONGEST_ROW = 200_000
"""Characters of one row, in a CSV file over all its lines where cells are in quotation marks.

A single cell of a CSV file ends at 131,072 characters: that is the csv module's own limit.
"""

MOST_CHARACTERS = MOST_BYTES
"""Of one sheet of a workbook, whose cells may refer to one long text again and again."""

MOST_COLUMNS = 1000
"""Of a header, and of any row, trailing blanks apart."""

MOST_FACTS = 10_000_000
"""Rows of one table of readings, samples, counts and the like."""

MOST_ENTRIES = 500_000
"""Rows of one table of master data or of installations, which are looked up all at once."""

MOST_REPEATS_IN_OTHER_WORDS = 10_000
"""Rows that have the key of an earlier row and are not written like it: they are held until both are compared."""

LONGEST_CODE = 200
LONGEST_TEXT = 10_000
MOST_WORDS = 100
"""Of one cell. A longer code is a lost quotation mark, and database indices refuse keys of some thousand bytes."""

MOST_SHARED_STRINGS = 2_000_000
MOST_SHARED_CHARACTERS = 100_000_000
"""Of a workbook's shared strings, which every sheet refers to and which are held in memory."""

LONGEST_MARKUP = 1_000_000
"""Characters of one tag of a workbook's XML, or of the text of one of its cells."""

MOST_STYLES = 65_536
MOST_RELATIONSHIPS = 10_000
"""Of a workbook; a spreadsheet itself stops at about 64,000 cell styles (from memory)."""

LAST_ROW, LAST_COLUMN = 1_048_576, 16_384
"""Of a worksheet: the grid that spreadsheets have."""
