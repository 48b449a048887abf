"""The record as bytes: canonical form, hash chain, head codes, signatures, old schemas.

Nothing here opens a file, reads a clock or draws a random number, and nothing here knows what an
event means: an event is a JSON object. What is proved is that the bytes are those that were sealed,
in the order in which they were sealed.
"""
