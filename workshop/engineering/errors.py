"""What the engineering modules raise when they refuse an input."""


class EngineeringError(ValueError):
    """An input was refused; the text is a sentence for the person who typed it."""
