"""Where a sensor may sit, where best, and how fast the lift may then come; the way is drawn in ``advice``."""
