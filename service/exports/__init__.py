"""Lists as files for people: CSV and workbooks."""
