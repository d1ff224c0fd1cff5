"""An invented centre at work: loaded through the verbs that the site itself uses, with seeded noise.

Nobody and nothing in it is real. Readings come from the behaviour model, verdicts from the marking.
"""
