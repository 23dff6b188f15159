"""The commands of `seafret`, one module each with an attribute `command`; `table` lists them."""
