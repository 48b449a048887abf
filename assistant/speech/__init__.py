"""Everything that hears or speaks; third-party audio and speech packages are imported here only.

They are imported inside functions, so that a program without a microphone, a loudspeaker or a
speech model can still plan, rehearse, replay and report.
"""
