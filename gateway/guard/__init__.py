"""What the gateway watches besides the measurements: broker, certificates, its own threads."""
