"""The command line: results on stdout, everything else on stderr; exit codes 0 done, 1 refused, 2 usage, 3 fault."""
