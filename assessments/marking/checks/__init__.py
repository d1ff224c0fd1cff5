"""The checks, a module for each kind: columns laid out, judged by the metrology, and put into words."""
