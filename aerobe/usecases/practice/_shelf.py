"""Where practice brews are kept: a folder of their own beside the notebook, never the notebook itself."""

from __future__ import annotations

import json
import re
import threading
from pathlib import Path

from aerobe.errors import NotebookFault, NotFound
from aerobe.practice import Practice, Score
from aerobe.records import as_plain, from_plain
from aerobe.usecases.notebook._files import write_whole

FORMAT = "aerobe practice 1"  # raised when the same seed would give another brew
KEY = re.compile(r"practice-[0-9]{1,6}")


class PracticeShelf:
    """A folder of practice brews, a file each, and the scores of those that were harvested. Without a folder, in memory only.

    A file that cannot be read is left as it is and passed over: no practice brew is worth a fault on every page.
    """

    def __init__(self, folder: Path | None) -> None:
        self.folder = folder
        self._kept: dict[str, dict[str, object]] = {}
        self._lock = threading.Lock()

    def keep(self, practice: Practice, score: Score | None = None) -> None:
        """Write a practice brew down, with its score once there is one.

        Raises
        ------
        NotAllowed
            If it cannot be written.
        """
        with self._lock:
            before = self._read(practice.key) or {}
            plain: dict[str, object] = {"format": FORMAT, "practice": as_plain(practice), "score": before.get("score")}
            if score is not None:
                plain["score"] = as_plain(score)
            self._kept[practice.key] = plain
            if self.folder is not None:
                write_whole(self.folder / f"{practice.key}.json", json.dumps(plain, indent=1))

    def get(self, key: str) -> Practice:
        """A practice brew by its key.

        Raises
        ------
        NotFound
            If there is none.
        NotebookFault
            If it was begun under another version, in which the same seed may be another brew.
        """
        with self._lock:
            plain = self._read(key)
        if plain is None:
            raise NotFound(f"There is no practice brew '{key[:40]}'.", "Begin one, or choose one of the list.")
        if plain.get("format") != FORMAT:
            raise NotebookFault(
                f"The practice brew {key} was begun with another version of this program.",
                "Its score still counts; begin a new brew to go on.",
            )
        return _practice(plain)

    def all(self) -> list[Practice]:
        """All practice brews of this version, oldest first."""
        with self._lock:
            found = [self._read(key) for key in self._keys()]
        return [_practice(plain) for plain in found if plain is not None and plain.get("format") == FORMAT]

    def scores(self) -> list[Score]:
        """Scores of the harvested brews, oldest first, also of earlier versions."""
        with self._lock:
            found = [self._read(key) for key in self._keys()]
        return [from_plain(Score, dict(score)) for plain in found if plain and isinstance(score := plain.get("score"), dict)]

    def next_key(self) -> str:
        """A key that is not taken."""
        with self._lock:
            last = max((int(key.partition("-")[2]) for key in self._keys()), default=0)
        return f"practice-{last + 1}"

    def _keys(self) -> list[str]:
        names = set(self._kept)
        if self.folder is not None and self.folder.is_dir():
            names |= {path.stem for path in self.folder.glob("practice-*.json") if KEY.fullmatch(path.stem)}
        return sorted(names, key=lambda key: int(key.partition("-")[2]))

    def _read(self, key: str) -> dict[str, object] | None:
        if not KEY.fullmatch(key):
            return None
        if self.folder is None:
            return self._kept.get(key)
        try:
            plain = json.loads((self.folder / f"{key}.json").read_text(encoding="utf-8"))
            if plain.get("format") == FORMAT:
                _practice(plain)
            if plain.get("score") is not None:
                from_plain(Score, dict(plain["score"]))
        except Exception:  # a stranger's file may be spoilt in any way
            return None
        return dict(plain)


def _practice(plain: dict[str, object]) -> Practice:
    return from_plain(Practice, plain["practice"])
