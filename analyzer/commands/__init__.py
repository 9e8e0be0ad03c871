"""One module per command of the command line; each holds a click command named `command`."""
