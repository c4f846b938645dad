"""The PostgreSQL server, its roles and what each role may do."""
