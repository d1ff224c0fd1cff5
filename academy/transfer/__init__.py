"""Rows of a spreadsheet: read in, checked, brought in by verbs, and written out."""
