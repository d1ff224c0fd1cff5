"""What a device logged without a network, taken in: in the device's order, each entry exactly once.

`entries` reads a batch, `answers` says what became of each, `judging` tells a correction from a conflict:
these know no database. `applying` calls the verbs; `packs` is what a device needs to go on by itself, `shell`
what it keeps of the site.
"""
