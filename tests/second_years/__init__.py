"""A second maker of simulated years, on another physics than the first one's, and its judge."""
