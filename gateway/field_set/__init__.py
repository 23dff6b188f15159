"""A labelled field set: recordings, what people saw meanwhile, and a manifest with hashes, in one
folder. README.md in this folder says how one is made in the field."""
