"""Many surveys held against the same limits: over the cores of this machine, or over a cluster."""
