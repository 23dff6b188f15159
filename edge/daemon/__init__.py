"""The daemon: sense, measure, decide, keep, send, for as long as it is left running."""
