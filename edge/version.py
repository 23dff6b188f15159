"""The software's version, read by the build as well; it travels in health records and run files."""

__version__ = "0.1.0.dev0"
