"""What a venturi rig reads in each condition, healthy or with a fault, and which fault readings show.

A small forward model of pressures and contacts, not a table of patterns: fan, venturi, taps, tubes, switch
with its history, hand pump, and the slips of meters, manometers and pens. It is read forwards for what should
be seen and for displays that show it, and backwards for the probability of each fault, for faults that look
alike on a rig, and for the test that would tell most. It has been checked against the trade's own tables of
faults, not against a physical rig; figures that belong to one rig are that rig's parameters.
"""
