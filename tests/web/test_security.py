"""Who gets in, and what every answer says to the browser. The rules are the W3C's and WHATWG's (CSP Level 3, Fetch)."""

import json

import pytest
from lxml import html

from analyzer.web.app import FILES, STATIC
from analyzer.web.security import MAX_UPLOAD_BYTES
from tests.web.conftest import TOKEN

ASKED = ["/api/start", "/api/open", "/api/plan", "/api/music", "/api/pictures", "/api/file", "/api/sound",
         "/api/review", "/api/playable", "/api/compare", "/api/fit", "/api/section/read", "/api/section/write",
         "/api/player/read", "/api/player/write", "/api/pins/read", "/api/pins/write"]


@pytest.mark.parametrize("host", ["evil.example", "evil.example:8765", "127.0.0.1:9999", "127.0.0.1", "[::1]:8765",
                                  "127.0.0.1:8765.evil.example", "0.0.0.0:8765", ""])
@pytest.mark.parametrize("path", ["/", "/page.js", "/api/start"])
def test_a_foreign_host_name_is_refused(client, host: str, path: str) -> None:
    reply = client.get(path, headers={"host": host})
    assert reply.status_code == 403
    assert "own address" in reply.text


@pytest.mark.parametrize("host", ["127.0.0.1:8765", "localhost:8765", "LOCALHOST:8765"])
def test_our_own_names_are_served(client, host: str) -> None:
    assert client.get("/api/start", headers={"host": host}).status_code == 200


@pytest.mark.parametrize("path", ASKED)
@pytest.mark.parametrize("token", [None, "", "wrong", TOKEN[:-1], TOKEN + "x", "é"])
def test_without_the_token_nothing_is_answered(bare, path: str, token: str | None) -> None:
    headers = {} if token is None else {"x-lowbrass-token": token.encode("latin-1")}
    for reply in (bare.get(path, headers=headers), bare.post(path, headers=headers, content=b"{}")):
        assert reply.status_code == 401
        assert "printed" in reply.text
        assert "\n" not in reply.text.strip()


@pytest.mark.parametrize("headers", [
    {"origin": "http://evil.example"}, {"origin": "null"}, {"origin": "https://127.0.0.1:8765"},
    {"origin": "http://127.0.0.1:8766"}, {"sec-fetch-site": "cross-site"}, {"sec-fetch-site": "same-site"},
])
def test_another_origin_is_refused_even_with_the_token(client, headers: dict[str, str]) -> None:
    assert client.get("/api/start", headers=headers).status_code == 403


def test_a_preflight_is_not_granted(client) -> None:
    reply = client.options("/api/open", headers={
        "origin": "http://evil.example", "access-control-request-method": "POST",
        "access-control-request-headers": "x-lowbrass-token"})
    assert reply.status_code == 403
    assert not [name for name in reply.headers if name.startswith("access-control")]


@pytest.mark.parametrize("path", [*FILES, "/nothing", "/api/start", "/api/nothing"])
def test_every_answer_is_hardened(client, path: str) -> None:
    headers = client.get(path).headers
    policy = {part.split()[0]: part.split()[1:] for part in headers["content-security-policy"].split(";")}
    assert policy["default-src"] == ["'none'"]
    assert policy["script-src"] == policy["style-src"] == policy["connect-src"] == ["'self'"]
    assert policy["frame-ancestors"] == policy["base-uri"] == policy["form-action"] == ["'none'"]
    assert "unsafe" not in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "no-referrer"
    assert headers["cache-control"] == "no-store"
    assert headers["cross-origin-resource-policy"] == "same-origin"
    assert not [name for name in headers if name.startswith("access-control")]


def test_the_page_holds_nothing_that_the_policy_forbids() -> None:
    root = html.fromstring((STATIC / "page.html").read_bytes())
    assert len(root.xpath("//*")) > 50
    assert root.xpath("//script[not(@src)] | //style | //@style | //@*[starts-with(name(), 'on')]") == []
    for address in root.xpath("//@src | //link/@href"):
        assert address in FILES or address == "/fonts.css"
    scripts = [name for name, kind in FILES.values() if kind == "text/javascript"]
    assert len(scripts) > 10
    for name in scripts:
        text = (STATIC / name).read_text(encoding="utf-8")
        for word in ("innerHTML", "outerHTML", "insertAdjacentHTML", "eval(", "new Function", "document.write", "http://",
                     "https://"):
            assert word not in text.replace('"http://www.w3.org/2000/svg"', ""), (name, word)


@pytest.mark.parametrize("path", [
    "/../pyproject.toml", "/..%2f..%2fpyproject.toml", "/static/../app.py", "/%2e%2e/%2e%2e/etc/passwd", "//etc/passwd",
    "/page.html", "/app.py", "/page.js/x", "/page.css%00.txt", "/api/../page.html",
])
def test_no_path_leads_out_of_the_list(client, path: str) -> None:
    reply = client.request("GET", "http://127.0.0.1:8765" + path)
    assert reply.status_code in (401, 404), path
    assert "lowbrass" not in reply.text or reply.status_code == 401


@pytest.mark.parametrize("name", ["../pyproject.toml", "README.md", "student.toml", "/etc/passwd", "..", "",
                                  "attachment-etude.musicxml/../student.toml", "x\x00.musicxml"])
def test_a_sample_is_only_what_is_listed(client, name: str) -> None:
    reply = client.post("/api/open", params={"sample": name})
    assert reply.status_code == 400
    assert reply.json()["problem"]["code"] == "no-sample"


def test_too_much_is_refused_before_it_is_read(client) -> None:
    reply = client.post("/api/open", headers={"content-length": str(MAX_UPLOAD_BYTES + 1)}, content=b"")
    assert reply.status_code == 413
    assert "32 MiB" in reply.text


def test_too_much_in_pieces_is_cut_off(client) -> None:
    sent = 0

    def pieces():
        nonlocal sent
        for _ in range(40):
            sent += 2**20
            yield b" " * 2**20

    reply = client.post("/api/open", content=pieces())
    assert reply.status_code == 413
    assert "MiB" in reply.json()["line"]


def test_a_question_may_not_be_as_long_as_a_score(client) -> None:
    reply = client.post("/api/plan", content=b'{"x":"' + b"y" * 2**20 + b'"}')
    assert reply.status_code == 413


@pytest.mark.parametrize("body", [b"", b"[]", b"nothing", b"\xff\xfe", b"[" * 100000, b"null", b'"x"', b"NaN"])
def test_a_question_that_is_none(client, body: bytes) -> None:
    reply = client.post("/api/plan", content=body)
    assert reply.status_code == 400
    assert reply.json()["problem"]["code"] == "bad-question"


def test_other_methods_are_not_known(client) -> None:
    for method in ("PUT", "DELETE", "PATCH", "TRACE"):
        assert client.request(method, "/api/open").status_code == 405


def test_an_unknown_score_is_said_so(client) -> None:
    reply = client.post("/api/plan", content=json.dumps({"session": "none"}))
    assert reply.status_code == 404
    assert "Choose its file again" in reply.json()["line"]
