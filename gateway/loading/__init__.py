"""History from elsewhere: CSV rows, checked once here, then kept beside what the units sent."""
