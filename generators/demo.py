"""The demo: forms and a manuscript of an invented department, laid out for a tour of the commands."""

import os
import shutil
import tempfile
from importlib.resources import files
from pathlib import Path

from trayconcord.kb.errors import unusable


def lay_out(folder: Path) -> list[Path]:
    """Write the demo's files into a new folder; returns them. Raises `UnusableInput` where the folder exists."""
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise unusable(folder, "exists already", "name a folder that does not exist yet")
    names = sorted(
        path.name
        for path in (files("trayconcord.generators") / "demo").iterdir()
        if path.name.endswith((".yaml", ".j2"))
    )
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        draft = Path(tempfile.mkdtemp(prefix=".demo-", dir=folder.parent))
        try:
            for name in names:
                (draft / name).write_bytes((files("trayconcord.generators") / "demo" / name).read_bytes())
            os.chmod(draft, 0o755)
            os.rename(draft, folder)
        finally:
            shutil.rmtree(draft, ignore_errors=True)
    except OSError as error:
        raise unusable(folder, f"cannot be written: {error.strerror or error}", "choose another folder") from None
    return [folder / name for name in names]
