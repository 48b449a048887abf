"""Speech input and output; third-party audio and speech packages are imported only here.

They are imported inside functions, so that a program without a microphone, a loudspeaker or a
speech model can still plan, rehearse, replay and report.
"""
