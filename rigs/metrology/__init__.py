"""Measurement: quantities, uncertainty, and what a reading shows. Pure: no Django, no models."""
