"""Runs command lines in this process under an audit hook, and ends it at the first thing that no command may do.

    python audited.py FOLDER MARK < commands.json

No socket, no other process, nothing written outside FOLDER, no code that holds MARK (which stands in every text of the
data), nothing unpickled. The commands are lists of arguments; what each says goes to FOLDER/said-<number>.txt, and the
statuses are printed as JSON.
"""

import contextlib
import json
import os
import sys
import types

FOLDER, MARK = os.path.realpath(sys.argv[1]), sys.argv[2]
FORBIDDEN = {
    "subprocess.Popen", "os.system", "os.exec", "os.posix_spawn", "os.spawn", "os.fork", "os.forkpty", "os.startfile",
    "pty.spawn", "pickle.find_class", "ftplib.connect", "http.client.connect", "urllib.Request", "webbrowser.open",
}  # fmt: skip
CHANGES = {
    "os.mkdir": 1, "os.rmdir": 1, "os.remove": 1, "os.rename": 2, "os.link": 2, "os.symlink": 2, "os.chmod": 1,
    "os.chown": 1, "os.truncate": 1, "os.utime": 1, "os.setxattr": 1, "shutil.rmtree": 1, "shutil.move": 2,
}  # fmt: skip
"""Events that change the file system, and how many of their arguments are paths."""


def inside(path: object) -> bool:
    name = os.fsdecode(path) if isinstance(path, (str, bytes, os.PathLike)) else ""
    real = os.path.realpath(name)
    return not name or real == os.devnull or real == FOLDER or real.startswith(FOLDER + os.sep)


def holds_mark(code: object) -> bool:
    if isinstance(code, types.CodeType):
        return any(holds_mark(constant) for constant in code.co_consts)
    text = code.decode("utf-8", "replace") if isinstance(code, bytes) else code
    return isinstance(text, str) and MARK in text


def wrong(event: str, arguments: tuple[object, ...]) -> bool:
    """Whether an event is one that no command may cause."""
    if event.startswith("socket.") or event in FORBIDDEN:
        return True
    if event in ("compile", "exec"):
        return holds_mark(arguments[0])
    if event == "open":
        path, _, flags = arguments
        return bool(flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC)) and not inside(path)  # type: ignore
    paths = arguments[: CHANGES.get(event, 0)]
    # Within a folder that is held open, as where a tree is removed, names are relative to it: its own opening counts.
    return not all(inside(path) for path in paths if not (isinstance(path, str) and os.sep not in path))


def hook(event: str, arguments: tuple[object, ...]) -> None:
    if not ending and wrong(event, arguments):
        ending.append(event)
        os.write(2, f"\nforbidden: {event} {arguments!r}"[:2000].encode("utf-8", "backslashreplace"))
        os._exit(97)


ending: list[str] = []

if __name__ == "__main__":
    sys.dont_write_bytecode = True
    commands = json.load(sys.stdin)
    os.chdir(FOLDER)
    sys.addaudithook(hook)
    from trayconcord.generators.cli import main

    statuses = []
    for number, arguments in enumerate(commands):
        with (
            open(f"{FOLDER}/said-{number}.txt", "w", encoding="utf-8", errors="backslashreplace") as said,
            contextlib.redirect_stdout(said),
            contextlib.redirect_stderr(said),
        ):
            try:
                statuses.append(main(arguments))
            except SystemExit as end:
                statuses.append(end.code)
    print(json.dumps(statuses))
