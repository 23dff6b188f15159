"""Commissioning: what must be shown of a unit before anybody relies on it, and the record of it."""
