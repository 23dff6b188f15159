"""The console in a real browser: stories, and pictures of every page."""
