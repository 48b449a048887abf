"""What is handed to people: pictures, labels and reports, as bytes; no files are touched."""
