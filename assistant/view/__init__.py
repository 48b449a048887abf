"""A page for the second person: the session as it goes, in a browser, read only."""
