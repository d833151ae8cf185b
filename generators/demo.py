"""The demo: forms and a manuscript of an invented department, laid out for a tour of the commands."""

from importlib.resources import files
from pathlib import Path

from trayconcord.generators.output import write_new_folder
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
    write_new_folder({name: (files("trayconcord.generators") / "demo" / name).read_bytes() for name in names}, folder)
    return [folder / name for name in names]
