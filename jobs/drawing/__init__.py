"""Drawings to scale as SVG text: measures in, a string out. Pure: no database, no clock, no settings."""
