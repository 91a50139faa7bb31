"""PostgreSQL and Valkey as child processes, for a machine that has neither (see README.md here)."""
