"""Small recordings, what a person expects of each, and what the program makes of them."""
