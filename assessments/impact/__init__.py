"""Impact reviews, in the order of the work: opening, exposure, marking again, resolving, closing."""
