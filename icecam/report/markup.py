"""HTML and SVG as trees of elements: what a text holds is escaped when the tree is written."""

from typing import Final
from xml.etree.ElementTree import Element, tostring

UNREADABLE: Final = "\N{REPLACEMENT CHARACTER}"
Content = Element | str
Attribute = str | float


def tag(name: str, *content: Content, **attributes: Attribute) -> Element:
    """Return an element.

    Parameters
    ----------
    content : texts and elements, in their order; letters that cannot be shown become a mark
    attributes : `cls` stands for class, an underscore for a hyphen; numbers get two decimals

    >>> written(tag("p", "a < b ", tag("b", "c"), " d", cls="x", data_mm=1.5))
    '<p class="x" data-mm="1.5">a &lt; b <b>c</b> d</p>'
    """
    named = {
        ("class" if key == "cls" else key.replace("_", "-")): _plain(value)
        for key, value in attributes.items()
    }
    element = Element(name, named)
    for part in content:
        if isinstance(part, Element):
            element.append(part)
        elif len(element):
            element[-1].tail = (element[-1].tail or "") + _readable(part)
        else:
            element.text = (element.text or "") + _readable(part)
    return element


def written(*elements: Element) -> str:
    """Return elements as HTML, one after the other; none may be one that HTML never closes."""
    told = (tostring(each, encoding="unicode", short_empty_elements=False) for each in elements)
    return "\n".join(told)


def figure(value: float) -> str:
    """Write a coordinate with two decimals at most.

    >>> figure(1.0), figure(2.346), figure(-0.001)
    ('1', '2.35', '0')
    """
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def shortened(name: str, letters: int) -> str:
    """Leave out the middle of a name that is longer than so many letters, at least 11.

    >>> shortened("owl.stl", 11), shortened("a-very-long-name.stl", 11)
    ('owl.stl', 'a-ve....stl')
    """
    if len(name) <= letters:
        return name
    end = (letters - 3) // 2
    return f"{name[: letters - 3 - end]}...{name[-end:]}"


def _plain(value: Attribute) -> str:
    return _readable(value) if isinstance(value, str) else figure(value)


def _readable(text: str) -> str:
    return "".join(letter if letter.isprintable() else UNREADABLE for letter in text)
