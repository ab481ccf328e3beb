"""One short function per job of the command line: each is a list of calls to the rooms below."""
