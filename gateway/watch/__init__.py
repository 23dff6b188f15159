"""External watch: a heartbeat that something else can miss, and figures for who collects them."""
