"""The commands: each module holds one click command named `command`, thin, with no logic of its own."""
