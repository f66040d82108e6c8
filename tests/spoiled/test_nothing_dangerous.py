"""What the packages never do: obey data as code, start other programs, talk to a network."""

from __future__ import annotations

import ast
import socket
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
ROOMS = ("trials", "analyses", "reports", "pinset", "data")

FORBIDDEN_MODULES = {
    "pickle", "cPickle", "dill", "cloudpickle", "joblib", "shelve", "marshal", "subprocess", "pty",
    "ctypes", "cffi", "socket", "ssl", "http", "urllib", "requests", "httpx", "aiohttp", "ftplib",
    "smtplib", "telnetlib", "xmlrpc", "socketserver", "webbrowser", "yaml", "code", "codeop",
    "runpy", "telemetry", "asyncio",
}  # fmt: skip
FORBIDDEN_CALLS = {"eval", "exec", "compile", "__import__", "input", "breakpoint"}
FORBIDDEN_METHODS = {
    "os.system", "os.popen", "os.execv", "os.execvp", "os.spawnl", "os.startfile", "os.fork",
    "pd.read_pickle", "pandas.read_pickle", "np.load", "numpy.load", "pd.eval", "pandas.eval",
    "pd.read_html", "pd.read_sql", "tempfile.mktemp", "shutil.unpack_archive", "yaml.load",
}  # fmt: skip


def files() -> list[Path]:
    found = [one for room in ROOMS for one in sorted((ROOT / room).rglob("*.py"))]
    assert len(found) > 150
    return found


def dotted(node: ast.expr) -> str:
    if isinstance(node, ast.Attribute):
        return f"{dotted(node.value)}.{node.attr}"
    return node.id if isinstance(node, ast.Name) else ""


def dangers(tree: ast.Module) -> list[str]:
    """Give what a file does that none may, with the line."""
    found = []
    for node in ast.walk(tree):
        names: list[str] = []
        if isinstance(node, ast.Import):
            names = [one.name for one in node.names]
        elif isinstance(node, ast.ImportFrom):
            names = [node.module or ""]
        found += [f"{node.lineno}: {name}" for name in names  # type: ignore[attr-defined]
                  if name.split(".")[0] in FORBIDDEN_MODULES]  # fmt: skip
        if isinstance(node, ast.Call):
            name = dotted(node.func)
            if name in FORBIDDEN_CALLS | FORBIDDEN_METHODS:
                found.append(f"{node.lineno}: {name}")
            if name.endswith((".query", ".eval")) and "self" not in name:
                found.append(f"{node.lineno}: {name}")
            for word in node.keywords:
                truth = isinstance(word.value, ast.Constant) and word.value.value
                if word.arg in ("shell", "allow_pickle") and truth:
                    found.append(f"{node.lineno}: {word.arg}")
                if word.arg == "autoescape" and not truth:
                    found.append(f"{node.lineno}: autoescape off")
    return found


@pytest.mark.parametrize("path", files(), ids=lambda one: str(one.relative_to(ROOT)))
def test_no_file_does_what_none_may(path: Path) -> None:
    assert dangers(ast.parse(path.read_text(encoding="utf-8"))) == []


@pytest.mark.parametrize(
    "text",
    ["import pickle", "from urllib.request import urlopen", "eval('1')", "os.system('x')",
     "frame.query('a > 1')", "run(x, shell=True)", "np.load(x, allow_pickle=True)",
     "Environment(autoescape=False)"],
)  # fmt: skip
def test_the_test_sees_what_it_looks_for(text: str) -> None:
    assert dangers(ast.parse(text))


def test_templates_mark_nothing_safe_but_what_we_made() -> None:
    for path in (ROOT / "reports" / "templates").glob("*.html"):
        text = path.read_text(encoding="utf-8")
        assert "|safe" not in text.replace(" ", ""), path.name
        assert "autoescape false" not in text, path.name
        assert "<script" not in text, path.name


def test_raw_markup_is_made_in_few_places() -> None:
    users = {
        str(path.relative_to(ROOT))
        for path in files()
        if "Markup(" in path.read_text(encoding="utf-8")
    }
    assert all(one.startswith("reports/") for one in users)
    assert len(users) <= 6, users


@pytest.mark.parametrize("all_commands", [False, pytest.param(True, marks=pytest.mark.slow)])
def test_nothing_is_sent_anywhere(
    all_commands: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys
) -> None:
    from pinset.cli import main

    def forbidden(*_: object, **__: object) -> None:
        raise AssertionError("a socket was asked for")

    class Forbidden(socket.socket):  # a class, as others are derived from it
        __init__ = forbidden

    monkeypatch.setattr(socket, "socket", Forbidden)
    for name in ("create_connection", "socketpair", "getaddrinfo", "gethostbyname"):
        monkeypatch.setattr(socket, name, forbidden)
    with pytest.raises(AssertionError, match="asked for"):
        socket.socket()
    folder = str(tmp_path / "demo")
    assert main(["demo", folder, "--story", "mixes"]) == 0
    for command in ("check", "analyse", "report", "size") if all_commands else ("check",):
        assert main([command, folder]) == 0, command
    assert main(["new", str(tmp_path / "new")]) == 0
    assert main(["layout", str(tmp_path / "new")]) == 0
    assert "socket" not in capsys.readouterr().err


def test_no_network_module_is_loaded_by_reading(tmp_path: Path) -> None:
    """In a process of its own: the lighter commands do not even load what could send."""
    script = (
        "import sys; from pinset.cli import main; "
        f"main(['new', r'{tmp_path / 'x'}']); main(['check', r'{tmp_path / 'x'}']); "
        "print([m for m in ('requests', 'urllib3', 'httpx', 'aiohttp', 'http.client', 'smtplib') "
        "if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines()[-1] == "[]"
