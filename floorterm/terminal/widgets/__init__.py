"""Widgets that draw one frozen value each and answer with messages; none of them reads the record."""
