"""Notices: who is called off the console, with what words, and whether it arrived."""
