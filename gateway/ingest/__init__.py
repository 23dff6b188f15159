"""From the broker into the history: admitted, committed, and only then receipted."""
