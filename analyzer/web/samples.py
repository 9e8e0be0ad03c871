"""The sample scores: beside the package in a checkout, under share/lowbrass where it is installed."""

import sys
from pathlib import Path
from typing import Any

from analyzer.problem import unreadable
from analyzer.score.document import SCORE_ENDINGS
from analyzer.web.forms import read_section_file


def samples_folder() -> Path | None:
    """Return the folder of sample scores, None where there is none."""
    import analyzer

    beside = Path(analyzer.__file__).resolve().parent.parent / "sample_scores"
    folders = (beside, Path(sys.prefix) / "share" / "lowbrass" / "sample_scores")
    return next((folder for folder in folders if folder.is_dir()), None)


def sample_names(folder: Path | None) -> list[dict[str, str]]:
    """Return file and spoken name of each sample."""
    if folder is None:
        return []
    return [{"file": path.name, "name": path.stem.replace("-", " ").capitalize()}
            for path in sorted(folder.iterdir()) if path.suffix in SCORE_ENDINGS and path.is_file()]


def sample_path(folder: Path | None, name: str) -> Path:
    """Return the path of a listed sample.

    Raises
    ------
    Unreadable
        If the name is not in the list; nothing else is looked up on the disk.
    """
    if folder is None or name not in {one["file"] for one in sample_names(folder)}:
        raise unreadable("no-sample", where="samples", what="there is no sample of that name",
                         try_="Choose one of the list.")
    return folder / name


def sample_section(folder: Path | None) -> dict[str, Any] | None:
    """Return the invented section as a form, None where there is none."""
    path = None if folder is None else folder / "section.toml"
    if path is None or not path.is_file():
        return None
    return read_section_file(path.read_text(encoding="utf-8"), path.name)
