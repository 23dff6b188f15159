"""Worked examples for the analyst; the tests run them."""
