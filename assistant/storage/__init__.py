"""Files that survive: appended lines, audio clips, keys; what a call wrote is on the disk.

What the lines mean is not known here. Every system call that can fail goes through one `Disk`, so
that the tests can make any one of them fail.
"""
