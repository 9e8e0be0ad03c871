"""The command as a process: address, Ctrl-C, ports, and nothing left behind."""

import os
import re
import signal
import socket
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

import httpx
import pytest

from tests.web.running import ROOT, served

pytest.importorskip("uvicorn", reason="the extra web is not installed")


def children(pid: int) -> set[int]:
    """Processes whose parent is `pid`, by /proc."""
    found = set()
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = path.read_text().rsplit(")", 1)[1].split()
        except OSError:
            continue
        if int(fields[1]) == pid:
            found.add(int(path.parent.name))
    return found


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="needs /proc to see child processes")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_it_stops_and_leaves_no_process(number: signal.Signals) -> None:
    with served() as (process, address):
        base = address.split("#")[0]
        for _ in range(100):
            try:
                assert httpx.get(base).status_code == 200
                break
            except httpx.TransportError:
                time.sleep(0.1)
        deadline = time.monotonic() + 20
        while not children(process.pid) and time.monotonic() < deadline:
            time.sleep(0.05)
        born = children(process.pid)
        assert born
        if number == signal.SIGINT:
            # A terminal sends Ctrl-C to the whole group.
            os.killpg(process.pid, number)
        else:
            process.send_signal(number)
        out, err = process.communicate(timeout=20)
        if number != signal.SIGKILL:
            assert process.returncode == 0
            assert err.rstrip().endswith("Stopped.")
        assert "Traceback" not in err
        assert out == ""
        deadline = time.monotonic() + 20
        while any(Path(f"/proc/{one}").exists() for one in born) and time.monotonic() < deadline:
            time.sleep(0.05)
        assert not [one for one in born if Path(f"/proc/{one}").exists()]


def test_the_address_has_a_new_key_each_time_and_is_for_this_machine() -> None:
    with served() as (_, first), served() as (_, second):
        keys = [re.fullmatch(r"http://127\.0\.0\.1:\d+/#key=([\w-]{30,})", one) for one in (first, second)]
        assert all(keys)
        assert keys[0][1] != keys[1][1]
        port = int(first.split(":")[2].split("/")[0])
        # Another address of this very machine must find nobody (127.0.0.2 is loopback too, on Linux).
        if sys.platform == "linux":
            with socket.socket() as other:
                other.settimeout(2)
                assert other.connect_ex(("127.0.0.2", port)) != 0


@pytest.mark.skipif(sys.platform == "win32", reason="modes and a shell script")
def test_the_browser_s_command_line_and_the_terminal_do_not_hold_the_key(tmp_path: Path) -> None:
    """Other users of the machine read command lines (proc(5), /proc/pid/cmdline)."""
    script, said = tmp_path / "browser", tmp_path / "said"
    script.write_text(f'#!/bin/sh\nprintf "%s" "$*" > {said}.new\nmv {said}.new {said}\n')
    script.chmod(0o700)
    process = subprocess.Popen([sys.executable, "-m", "analyzer", "serve"], stdout=subprocess.PIPE,
                               stderr=subprocess.PIPE, text=True, cwd=ROOT, start_new_session=True,
                               env={**os.environ, "BROWSER": str(script), "PYTHONUNBUFFERED": "1"})
    try:
        deadline = time.monotonic() + 30
        while not said.exists() and time.monotonic() < deadline:
            time.sleep(0.05)
        argument = said.read_text()
        file = Path(argument.removeprefix("file://"))
        assert argument.startswith("file://")
        assert (file.stat().st_mode & 0o777, file.parent.stat().st_mode & 0o777) == (0o600, 0o700)
        address = re.search(r"url=(http://127\.0\.0\.1:\d+/#key=([\w-]{30,}))\"", file.read_text())
        assert address
        key = address[2]
        assert key not in argument
        reply = httpx.get(address[1].split("#")[0] + "api/start", headers={"X-Lowbrass-Token": key})
        assert reply.status_code == 200
    finally:
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=30)
    assert key not in out + err
    assert str(file) in err
    assert not file.parent.exists()


def test_half_open_and_silent_connections_keep_nobody_out() -> None:
    """300 that begin a request and never end it, 300 that say nothing: everybody else is answered at once."""
    with served() as (_, address):
        host, port = "127.0.0.1", int(address.split(":")[2].split("/")[0])
        held = []
        try:
            for nth in range(600):
                other = socket.create_connection((host, port), timeout=10)
                if nth % 2:
                    other.sendall(b"GET / HTTP/1.1\r\nHost: 127.0.0.1")
                held.append(other)
            for _ in range(100):
                assert httpx.get(address.split("#")[0], timeout=20).status_code == 200
            # And they are let go: the last of them, too, after the time for a head.
            held[-1].settimeout(20)
            with suppress(ConnectionResetError):
                assert held[-1].recv(1) == b""
        finally:
            for other in held:
                other.close()


def test_stalled_uploads_keep_nobody_out() -> None:
    with served() as (_, address):
        base, key = address.split("#key=")
        port = int(address.split(":")[2].split("/")[0])
        held = []
        try:
            for _ in range(4):
                other = socket.create_connection(("127.0.0.1", port), timeout=10)
                other.sendall(f"POST /api/open HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nX-Lowbrass-Token: {key}\r\n"
                              "Content-Length: 100000\r\n\r\n<".encode())
                held.append(other)
            time.sleep(0.5)
            reply = httpx.post(f"{base}api/open?sample=none", headers={"X-Lowbrass-Token": key}, timeout=20)
            assert reply.status_code == 400
            reply = httpx.post(f"{base}api/open", headers={"X-Lowbrass-Token": key}, content=b"x", timeout=20)
            assert reply.status_code == 400
            assert "MusicXML" in reply.text
        finally:
            for other in held:
                other.close()


def test_a_port_in_use_is_one_clear_line() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        done = subprocess.run([sys.executable, "-m", "analyzer", "serve", "--no-open", "--port", str(port)],
                              capture_output=True, text=True, cwd=ROOT, timeout=60, check=False)
    assert done.returncode == 1
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1
    assert f"127.0.0.1:{port}: this port cannot be used" in done.stderr


@pytest.mark.parametrize("port", ["-1", "65536", "web"])
def test_a_port_that_is_none(port: str) -> None:
    done = subprocess.run([sys.executable, "-m", "analyzer", "serve", "--port", port], capture_output=True, text=True,
                          cwd=ROOT, timeout=60, check=False)
    assert done.returncode == 2
