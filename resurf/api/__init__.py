"""Version 1 of the API: its addresses and its document."""
