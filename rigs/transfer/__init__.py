"""Rigs, instruments, certificates and checks as rows of a spreadsheet: read in, checked, and written out."""
