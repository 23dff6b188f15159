"""Send: what the edge keeps reaches the gateway, once and in order; its receipt releases."""
