"""Lengths and units, errors, findings and table declarations: what every room stands on."""
