"""Whole files over a bad line: what comes is what the server has, or a sentence."""

from __future__ import annotations

import gzip
import json
import socket
import threading
import time
from pathlib import Path

import numpy as np
import pytest

from pipelines.fetching.download import NotThereError, Web, download
from profiler import InputError, OutputError
from tests.pipelines.fetching_help import web
from tests.pipelines.range_server import Fault, Server

BODY = np.random.default_rng(1).bytes(400_000)
PATH = "/tile.tif"
MULTIPART = {"Content-Type": "multipart/byteranges; boundary=x"}


def get(server: Server, part: Path, session: Web | None = None) -> bytes:
    """The file as it came, and nothing else left beside it."""
    server.files.setdefault(PATH, BODY)
    version = download(session or web(), server.address + PATH, part, lambda _: None)
    assert version.size == part.stat().st_size
    assert [p.name for p in part.parent.iterdir()] == [part.name]
    return part.read_bytes()


@pytest.mark.parametrize(
    "faults",
    [
        [],
        [Fault(status=503)],
        [Fault(status=503), Fault(status=502), Fault(status=429)],
        [Fault(status=429, headers={"Retry-After": "3600"})],
        [Fault(breaks_at=0)],
        [Fault(breaks_at=150_000)],
        [Fault(breaks_at=150_000), Fault(breaks_at=100_000), Fault(breaks_at=70_000)],
        [Fault(breaks_at=150_000), Fault(ranges=False)],
        [Fault(breaks_at=150_000), Fault(part=7)],
        [Fault(breaks_at=150_000), Fault(status=416)],
        [Fault(breaks_at=150_000), Fault(status=206, body=BODY[150_000:])],
        [Fault(breaks_at=150_000), Fault(status=206, body=b"--x", headers=MULTIPART)],
        [Fault(status=503, headers={"Retry-After": "soon"})],
        [Fault(status=503, headers={"Retry-After": "Wed, 21 Oct 2015 07:28:00 GMT"})],
        [Fault(status=503, headers={"Retry-After": "Wed, 21 Oct 2093 07:28:00 GMT"})],
        [Fault(chunked=True)],
        [Fault(chunked=True, breaks_at=150_000)],
        [Fault(wait=60.0)],
        [Fault(lies=500)],
        [Fault(status=301, headers={"Location": PATH})],
    ],
    ids=lambda faults: "-".join(str(f.status or f.breaks_at or "other") for f in faults) or "fine",
)
def test_comes_in_the_end(server: Server, tmp_path: Path, faults: list[Fault]):
    """Law: whatever goes wrong for a while, the bytes are those of the server; an hour's wait is not waited."""
    server.faults[PATH] = list(faults)
    silent = any(fault.wait for fault in faults)
    assert get(server, tmp_path / "a.part", web(read=1.0) if silent else None) == BODY
    assert not server.faults[PATH]


def test_goes_on_where_it_broke_off(server: Server, tmp_path: Path):
    """Published: RFC 9110, 14.2 and 13.1.5: Range: bytes=N- with If-Range: the entity tag of the first answer."""
    server.faults[PATH] = [Fault(breaks_at=150_000)]
    assert get(server, tmp_path / "a.part") == BODY
    first, second = server.asked
    assert (first.range, first.if_range) == ("", "")
    assert second.range == "bytes=150000-"
    assert second.if_range.startswith('"')
    assert server.sent == len(BODY)


def test_killed_between_two_versions(server: Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Law: whenever it is killed, bytes of one version never stand beside the note of another."""
    server.files[PATH] = BODY
    server.faults[PATH] = [Fault(breaks_at=150_000)]
    part, seen = tmp_path / "a.part", []

    def killed(note: Path, text: str, **more: str) -> int:
        seen.append(part.stat().st_size if part.exists() else 0)
        return write_text(note, text, **more)

    write_text = Path.write_text
    monkeypatch.setattr(Path, "write_text", killed)
    server.faults[PATH].append(Fault(body=BODY[::-1], etag='"new"'))
    server.files[PATH] = BODY[::-1]
    get(server, part)
    assert seen == [0, 0]


@pytest.mark.parametrize(
    "fault",
    [
        Fault(status=503, headers={"Retry-After": "3600"}),
        Fault(status=503),
        Fault(wait=60.0),
        Fault(breaks_at=0),
    ],
    ids=["asks for an hour", "busy", "silent", "breaks off"],
)
def test_the_budget_holds_for_pauses_too(server: Server, tmp_path: Path, fault: Fault):
    """Law: whatever a server asks for, a tile ends by its budget, and at once when all is stopped."""
    server.files[PATH], server.always[PATH] = BODY, fault
    patience = {"read": 0.5, "pause": 60.0, "longest_pause": 120.0, "tries": 9}
    began = time.monotonic()
    with pytest.raises(InputError, match=r"did not come within 0\.5 s|does not answer|503|breaks off"):
        download(web(budget=0.5, **patience), server.address + PATH, tmp_path / "a.part", lambda _: None)
    assert time.monotonic() - began < 50  # no pause is as short
    session = web(budget=100.0, **patience)
    threading.Timer(0.3, session.stopped.set).start()
    began = time.monotonic()
    with pytest.raises(InputError, match="was stopped before its end"):
        download(session, server.address + PATH, tmp_path / "a.part", lambda _: None)
    assert time.monotonic() - began < 50  # no pause is as short


def test_a_later_run_goes_on_too(server: Server, tmp_path: Path):
    """Law: a run that gave up, or was killed, leaves its beginning, and the next one asks for the rest only."""
    server.always[PATH] = Fault(breaks_at=200_000)
    server.files[PATH] = BODY
    server.faults[PATH] = [Fault(breaks_at=200_000), *[Fault(breaks_at=0)] * 3]
    with pytest.raises(InputError, match="breaks off again and again"):
        download(web(), server.address + PATH, tmp_path / "a.part", lambda _: None)
    assert (tmp_path / "a.part").stat().st_size == 200_000
    server.always.clear()
    assert get(server, tmp_path / "a.part") == BODY
    assert server.asked[-1].range == "bytes=200000-"


def test_another_version_starts_anew(server: Server, tmp_path: Path):
    """Law: where the entity tag changed meanwhile, nothing of the old file is in the new one."""
    new = BODY[::-1]
    server.files[PATH] = BODY
    server.faults[PATH] = [Fault(breaks_at=150_000), Fault(body=new, etag='"new"')]
    assert get(server, tmp_path / "a.part") == new


def test_a_beginning_of_something_else(server: Server, tmp_path: Path):
    """Law: a part without its note, with a damaged one, or of another address counts for nothing."""
    part, note = tmp_path / "a.part", tmp_path / "a.part.json"
    for told in ("", "{", json.dumps({"address": "http://example.org/x", "etag": '"x"', "modified": "", "size": 9})):
        part.write_bytes(b"x" * 1000)
        note.write_text(told)
        assert get(server, part) == BODY
    assert all(one.range == "" for one in server.asked)


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        (Fault(status=503), "the server answers 503 Service Unavailable; try again later"),
        (Fault(status=403), "the server answers 403 Forbidden"),
        (Fault(breaks_at=0), "breaks off again and again before its end; check the connection"),
        (Fault(wait=60.0), "does not answer in time; check the connection and start again"),
        (Fault(lies=500), "breaks off again and again"),
        (Fault(status=302, headers={"Location": "file:///etc/hostname"}), "not http or https; nothing else is fetched"),
        (Fault(status=302, headers={"Location": PATH}), "from address to address without end"),
    ],
)
def test_gives_up_in_a_sentence(server: Server, tmp_path: Path, fault: Fault, words: str):
    """Law: what stays wrong is one sentence with the address, and no whole file."""
    server.files[PATH], server.always[PATH] = BODY, fault
    with pytest.raises(InputError, match=words) as caught:
        get(server, tmp_path / "a.part", web(read=0.3) if fault.wait else None)
    assert str(caught.value).startswith(server.address)
    assert (tmp_path / "a.part").stat().st_size < len(BODY) if (tmp_path / "a.part").exists() else True


def test_a_budget_for_all_of_it(server: Server, tmp_path: Path):
    """Law: a body that drips, never long silent, ends by the budget of the tile."""
    server.files[PATH], server.always[PATH] = BODY, Fault(wait=0.1, piece=1000)
    with pytest.raises(InputError, match=r"did not come within 0\.5 s; start again"):
        get(server, tmp_path / "a.part", web(budget=0.5))


@pytest.mark.parametrize("status", [301, 302, 303, 307, 308])
def test_where_answers_lead(server: Server, status: int):
    """Published: RFC 9110, 15.4: after 307 and 308 a search is posted again, else it is asked for without; addresses
    may be relative. What a server says besides is not read to its end, which it may not have."""
    server.files["/there/a"] = b"[1]"
    server.always["/here/a"] = Fault(
        status=status, headers={"Location": "../there/a?x=1"}, body=bytes(40_000_000), chunked=True
    )
    assert web().json(f"{server.address}/here/a", {"token": 2}) == ([1], f"{server.address}/there/a?x=1")
    (asked,) = server.of("/there/a")
    assert asked.method == ("POST" if status in (307, 308) else "GET")
    assert (asked.body == b"") == (asked.method == "GET")
    assert server.sent < 20_000_000


@pytest.mark.parametrize("status", [404, 410])
def test_not_there_is_an_answer(server: Server, tmp_path: Path, status: int):
    """Published: RFC 9110, 15.5.5 and 15.5.11: not found, gone. One request, no retry."""
    server.always[PATH] = Fault(status=status)
    with pytest.raises(NotThereError):
        get(server, tmp_path / "a.part")
    assert len(server.asked) == 1


def test_no_connection(tmp_path: Path):
    """Law: one sentence, and soon."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        address = f"http://127.0.0.1:{free.getsockname()[1]}/tile.tif"  # taken by nobody else, and nobody listens
        with pytest.raises(InputError, match="cannot be reached; check the connection and start again") as caught:
            download(web(), address, tmp_path / "a.part", lambda _: None)
    assert "\n" not in str(caught.value)
    with pytest.raises(InputError, match="cannot be reached"):
        download(web(), "http://nowhere.invalid/tile.tif", tmp_path / "a.part", lambda _: None)


def test_more_than_any_tile(server: Server, tmp_path: Path):
    """Law: neither a length that is too great nor a body that goes on fills the disk."""
    server.files[PATH] = BODY
    with pytest.raises(InputError, match=r"has 400,000 bytes, more than any tile"):
        download(web(), server.address + PATH, tmp_path / "a.part", lambda _: None, most=1000)
    assert not (tmp_path / "a.part").exists()


def test_a_full_disk(server: Server, tmp_path: Path):
    """Law: the disk's refusal is a sentence about the cache."""
    server.files[PATH] = BODY
    (tmp_path / "a.part").symlink_to("/dev/full")
    with pytest.raises(OutputError, match="cannot be written"):
        download(web(), server.address + PATH, tmp_path / "a.part", lambda _: None)


@pytest.mark.parametrize("address", ["file:///etc/hostname", "ftp://example.org/x", "/etc/hostname", "http://[x"])
def test_only_the_web(tmp_path: Path, address: str):
    """Law: no other scheme is opened."""
    with pytest.raises(InputError, match="is no http or https address"):
        download(web(), address, tmp_path / "a.part", lambda _: None)


def test_json_of_bounded_size(server: Server):
    """Law: too much is not read to its end; what is no JSON is a sentence, deep nesting too."""
    server.files["/big"] = b"[" + b"0," * 1_000_000 + b"0]"
    server.files["/page"] = b"<html>"
    server.files["/deep"] = b"[" * 100_000
    with pytest.raises(InputError, match="its answer is over 1 MB"):
        web().json(f"{server.address}/big", most=1 << 20)
    packed = {"Content-Encoding": "gzip"}
    server.always["/packed"] = Fault(body=gzip.compress(b'{"a": 1}'), headers=packed)
    server.always["/bomb"] = Fault(body=gzip.compress(server.files["/big"]), headers=packed)
    server.always["/plain"] = Fault(body=b"[]", headers=packed)
    assert web().json(f"{server.address}/packed")[0] == {"a": 1}
    for path, words in (("/bomb", "its answer is over 1 MB"), ("/plain", "no JSON")):
        with pytest.raises(InputError, match=words):
            web().json(server.address + path, most=1 << 20)
    for path in ("/page", "/deep"):
        with pytest.raises(InputError, match="its answer is no JSON"):
            web().json(server.address + path)
    with pytest.raises(InputError, match="no such page"):
        web().json(f"{server.address}/none")
