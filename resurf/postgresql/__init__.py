"""Django's PostgreSQL backend with two roles: one that owns the schema, one that the service runs as."""
