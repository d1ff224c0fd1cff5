"""Results that are worked out from readings: formulas, and the units, words and sources that go with them."""
