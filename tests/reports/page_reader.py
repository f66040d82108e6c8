"""Reads a page as a browser would, far enough for the tests."""

from __future__ import annotations

from html.parser import HTMLParser

VOID = {"meta", "link", "br", "img", "input", "hr", "col"}


class Page(HTMLParser):
    """The elements of a page in order, and its text."""

    def __init__(self, html):
        super().__init__(convert_charrefs=True)
        self.elements, self.open, self.texts, self.unclosed = [], [], [], []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        if not self.open or self.open.pop() != tag:
            self.unclosed.append(tag)

    def handle_data(self, data):
        self.texts.append((self.open[-1] if self.open else "", data))

    def all(self, tag):
        """The attributes of every element of one kind."""
        return [attrs for name, attrs in self.elements if name == tag]

    @property
    def text(self):
        """All that is read, style left out."""
        return " ".join(data for tag, data in self.texts if tag not in ("style", "script"))
