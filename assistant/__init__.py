"""Voice-guided, hands-free unit-dose powder sampling.

The package is laid out in rows; a module imports only from rows below its own. DEVELOPERS.md draws
them and tests/test_architecture.py enforces them.
"""

__version__ = "0.2.0"
