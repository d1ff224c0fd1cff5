"""Forms of the pages on which tasks are written."""
