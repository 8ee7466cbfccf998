"""The description of a text service in the set-up, read and checked."""
