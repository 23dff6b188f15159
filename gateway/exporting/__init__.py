"""A site's history out: CSV with units in its column names, or Parquet."""
