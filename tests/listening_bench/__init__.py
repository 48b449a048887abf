"""Measurements of the hearing on this machine: material, cases and figures.

Nothing here is used while somebody samples. The material is rendered or collected into a folder
outside the program, once, and every choice in it follows from a seed.
"""
