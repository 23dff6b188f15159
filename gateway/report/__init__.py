"""The condition report of a month: one document, printed as PDF and as HTML."""
