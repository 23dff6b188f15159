"""The alarm list: states, journal, roll-up, silence, performance. Pure; time comes as an input."""
