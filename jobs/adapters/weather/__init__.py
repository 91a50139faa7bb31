"""Weather feeds: fetched, parsed, never stored here."""
