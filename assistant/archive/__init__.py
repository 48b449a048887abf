"""The archive of a site: an index over records in a database, which the folders can rebuild."""
