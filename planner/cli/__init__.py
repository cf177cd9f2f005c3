"""The command line: a thin door. A command opens, calls one function, and prints."""
