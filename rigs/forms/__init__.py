"""Forms of the rig and instrument pages. What a person types is kept, whatever is wrong with it."""
