"""Contrast by WCAG 2.1: relative luminance and contrast ratio, as its definitions have them."""


def luminance(colour: str) -> float:
    """Relative luminance of #rrggbb (WCAG 2.1, definition of relative luminance)."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def ratio(one: str, other: str) -> float:
    """Contrast ratio (WCAG 2.1, definition of contrast ratio)."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)
