"""Whether everything holds that a daemon needs, told before it is left alone."""
