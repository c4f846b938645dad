"""The inspector's work: as-known-at answers, files, bundles, pointers, and the trace of every look."""
