"""Outstation: what is known now, told to a control centre by IEC 60870-5-104; it only monitors."""
