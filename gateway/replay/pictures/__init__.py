"""One picture for each insulator of a replay: what it did, and its most telling waveforms."""
