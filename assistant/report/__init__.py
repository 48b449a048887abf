"""Output for people: pictures, labels and reports, as bytes; no files are written."""
