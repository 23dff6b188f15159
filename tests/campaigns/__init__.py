"""Fault campaigns: real processes and files under every fault that a unit may meet."""
