"""Pages about the log: what it proves, a record's place in it, its verification."""
