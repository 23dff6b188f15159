"""Limits under change control: proposed, tried on the past, approved, sent and confirmed."""
