"""The working behind a verdict, line by line: somebody with a calculator can follow it."""
