"""A simulated operator who works a plan through aloud, so that all can be tried without hardware.

Time is simulated and sound stays inside the program; the recogniser, the procedure and the record
are the real ones.
"""
