"""Tests, and the tools of contributors beside them."""
