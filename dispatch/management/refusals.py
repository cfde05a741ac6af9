"""What a command answers to something typed that cannot be used."""


class Wrong(Exception):
    """Something typed cannot be used; the message is a sentence."""
