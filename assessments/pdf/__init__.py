"""Documents on paper, pure: frozen values in, bytes out, the same each time."""
