"""A workshop served from one machine: what runs, how it is made ready, what keeps it running."""
