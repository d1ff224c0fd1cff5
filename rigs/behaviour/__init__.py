"""What a venturi rig reads in each condition, healthy or with a fault, and what a display then shows.

A small forward model of pressures and contacts, not a table of patterns: fan, venturi, taps, tubes, switch
with its history, and the slips of meters, manometers and pens. It has been checked against the trade's own
tables of faults, not against a physical rig; figures that belong to one rig are that rig's parameters.
"""
