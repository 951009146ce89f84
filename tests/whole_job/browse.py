"""A browser without a screen: it follows links by their words and fills in forms as they stand on the page.

A field that the form does not have, a choice that is not offered, a link that is not there: each is a fault, as it would be
a dead end for a person.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any, Protocol
from urllib.parse import urljoin

File = tuple[str, bytes, str]  # name, content, media type


class Browser(Protocol):
    """What the person of the whole job does with a page."""

    def take(self, brew: str) -> None:
        """Go on with the device that stands by this brew; without a name, with the person's own."""

    def open(self, path: str) -> None:
        """Type an address."""

    def follow(self, words: str, near: str = "") -> None:
        """Press the first link with these words; `near` is text of the list entry it stands in."""

    def fetch(self, words: str) -> bytes:
        """Press a link that downloads a file."""

    def press(self, button: str, **typed: Any) -> None:
        """Fill in the form with this button and press it."""

    def text(self) -> str:
        """What stands on the page."""


@dataclass
class Input:
    """One field: what it sends if left alone, and what may be chosen."""

    kind: str
    values: list[str] = field(default_factory=list)
    options: list[str] = field(default_factory=list)


@dataclass
class Form:
    """A form as it stands on the page."""

    action: str
    method: str
    inputs: dict[str, Input] = field(default_factory=dict)
    buttons: list[tuple[str, str, str]] = field(default_factory=list)  # words, name, value


class Reader(HTMLParser):
    """Links, forms and words of the main part of a page."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.links: list[tuple[str, str, list[str]]] = []  # words, address, words of the list entry
        self.forms: list[Form] = []
        self.words: list[str] = []
        self._main, self._silent = "<main" not in html, False  # a page to print has no frame around it
        self._link: str | None = None
        self._button: dict[str, str] | None = None
        self._area: Input | None = None
        self._select: Input | None = None
        self._option: dict[str, str] | None = None
        self._option_words: list[str] = []
        self._heard: list[str] = []
        self._entries: list[list[str]] = []
        # What stands before and after the main part is passed over anyway: a person's pages have hundreds of tags there.
        begin, end = html.find("<main"), html.rfind("</main>")
        self.feed(html[begin:end] if 0 <= begin < end else html)

    def handle_starttag(self, tag: str, found: list[tuple[str, str | None]]) -> None:
        said = {name: value or "" for name, value in found}
        if tag == "main":
            self._main = True
        if not self._main:
            return
        if tag in ("script", "style"):
            self._silent = True
        elif tag in ("li", "article"):
            self._entries.append([])
        elif tag == "a":
            self._link, self._heard = said.get("href", ""), [said["aria-label"]] if "aria-label" in said else []
        elif tag == "form":
            self.forms.append(Form(action=said.get("action", ""), method=said.get("method", "get").lower()))
        elif self.forms:
            self._field(tag, said)

    def _field(self, tag: str, said: dict[str, str]) -> None:
        inputs, name = self.forms[-1].inputs, said.get("name", "")
        if tag == "button":
            self._button, self._heard = said, [said["aria-label"]] if "aria-label" in said else []
        elif tag == "textarea":
            self._area = inputs[name] = Input(kind="area", values=[""])
        elif tag == "select":
            self._select = inputs[name] = Input(kind="select")
        elif tag == "option" and self._select is not None:
            self._option, self._option_words = said, []
        elif tag == "input" and name:
            kind = said.get("type", "text")
            held = inputs.setdefault(name, Input(kind=kind))
            if kind in ("radio", "checkbox"):
                held.options.append(said.get("value", "on"))
                held.values += [said.get("value", "on")] if "checked" in said else []
            elif kind != "file":
                held.values = [said.get("value", "")]

    def handle_endtag(self, tag: str) -> None:
        if tag in ("script", "style"):
            self._silent = False
        elif tag == "main":
            self._main = False
        elif tag == "a" and self._link is not None:
            self.links.append((_plain(self._heard), self._link, self._entries[-1] if self._entries else []))
            self._link = None
        elif tag == "button" and self._button is not None:
            told = self._button
            self.forms[-1].buttons.append((_plain(self._heard), told.get("name", ""), told.get("value", "")))
            self._button = None
        elif tag in ("li", "article") and self._entries:
            self._entries.pop()
        elif tag == "option" and self._option is not None and self._select is not None:
            value = self._option.get("value", _plain(self._option_words))  # without one it sends its words
            if "selected" in self._option or not self._select.values:
                self._select.values = [value]
            self._select.options.append(value)
            self._option = None
        elif tag == "select":
            self._select = None
        elif tag == "textarea":
            self._area = None

    def handle_data(self, data: str) -> None:
        if not self._main or self._silent:
            return
        if self._area is not None:
            self._area.values = [self._area.values[0] + data]
            return
        if self._option is not None:
            self._option_words.append(data)
            return
        self.words.append(data)
        for entry in self._entries:
            entry.append(data)
        if (self._link is not None or self._button is not None) and data.strip():
            self._heard.append(data)


def _plain(words: list[str]) -> str:
    return re.sub(r"\s+", " ", " ".join(words)).strip()


@dataclass
class PlainBrowser:
    """A browser over an in-process client."""

    client: Any
    path: str = "/"
    html: str = ""
    trail: list[str] = field(default_factory=list)
    _read: Reader | None = None

    def take(self, brew: str) -> None:
        """One device does it all."""

    def open(self, path: str) -> None:
        self._show(self.client.get(path, follow_redirects=True))

    def follow(self, words: str, near: str = "") -> None:
        self.open(self._address(words, near))

    def fetch(self, words: str) -> bytes:
        answer = self.client.get(self._address(words, ""))
        assert answer.status_code == 200 and "attachment" in answer.headers["content-disposition"], answer.text[:300]
        return bytes(answer.content)

    def press(self, button: str, **typed: Any) -> None:
        form, words = self._form(button, typed)
        sent: dict[str, Any] = {name: held.values for name, held in form.inputs.items() if held.kind != "file"}
        files = {}
        for name, value in typed.items():
            held = form.inputs[name]
            if held.kind == "file":
                files[name] = value
                continue
            chosen = list(value) if isinstance(value, tuple | list) else [value]
            if held.kind in ("select", "radio", "checkbox"):
                assert set(chosen) <= set(held.options), f"{name}: {chosen} is not offered, only {held.options}"
            sent[name] = chosen
        if words[1]:
            sent[words[1]] = [words[2]]
        address = form.action or self.path
        if form.method == "get":
            self._show(self.client.get(address, params=sent, follow_redirects=True))
        else:
            self._show(self.client.post(address, data=sent, files=files or None, follow_redirects=True))

    @property
    def page(self) -> Reader:
        """The page, read once it is looked at: many are only passed through."""
        if self._read is None:
            self._read = Reader(self.html)
        return self._read

    def text(self) -> str:
        return _plain(self.page.words)

    def _address(self, words: str, near: str) -> str:
        fit = [href for said, href, entry in self.page.links if words.casefold() in said.casefold() and near in _plain(entry)]
        assert fit, f"{self.path} has no link '{words}'; it has {[said for said, _, _ in self.page.links]}"
        return urljoin(self.path, fit[0])

    def _form(self, button: str, typed: dict[str, Any]) -> tuple[Form, tuple[str, str, str]]:
        for form in self.page.forms:
            for words in form.buttons:
                if button.casefold() in words[0].casefold():
                    strange = set(typed) - set(form.inputs)
                    assert not strange, f"the form '{button}' of {self.path} has no field {strange}, only {sorted(form.inputs)}"
                    return form, words
        raise AssertionError(f"{self.path} has no button '{button}'; it has {[form.buttons for form in self.page.forms]}")

    def _show(self, answer: Any) -> None:
        self.path = answer.url.raw_path.decode()
        self.trail.append(self.path)
        self.html, self._read = answer.text, None
        assert answer.status_code == 200, f"{self.path}: {answer.status_code}\n{self.text()[:1500]}"
