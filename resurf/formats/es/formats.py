"""Spanish as it is written in the United States: a decimal point, thousands by a comma."""

DECIMAL_SEPARATOR = "."
THOUSAND_SEPARATOR = ","
NUMBER_GROUPING = 3
