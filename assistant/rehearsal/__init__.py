"""A simulated operator who works through a plan aloud, so that it can be tried without hardware.

Time is simulated and sound stays inside the program; the recogniser, the procedure and the record
are the real ones.
"""
