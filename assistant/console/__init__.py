"""What is shown: the transcript as it grows, and the panel of a live session."""
