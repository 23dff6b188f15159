"""What was measured, for years: one seam, an SQLite store behind it."""
