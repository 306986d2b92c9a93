"""Who is let in: nobody but the page of whoever started it."""

from __future__ import annotations

import json
import socket
import time
from collections.abc import Iterator
from contextlib import closing, suppress
from pathlib import Path

import pytest

from pyrobal.live import door
from pyrobal.live.guard import HEADERS, MOST_BYTES, new_token
from pyrobal.live.server import Server
from pyrobal.live.source import Source

CASE = Path(__file__).parents[2] / "cases" / "skerry_point.toml"
Answer = tuple[int, dict[str, str], bytes]


@pytest.fixture(scope="module")
def server() -> Iterator[Server]:
    made = Server(Source(str(CASE)), processes=False)
    made.start()
    yield made
    made.stop()


def ask(
    server: Server,
    path: str,
    method: str = "GET",
    body: bytes = b"",
    token: str | None = None,
    **headers: str,
) -> Answer:
    """One request, its path as it stands: no client tidies it up."""
    own = {"Host": f"127.0.0.1:{server.port}", "Connection": "close"}
    if method == "POST":
        own |= {"Origin": f"http://127.0.0.1:{server.port}", "Content-Type": "application/json"}
        own |= {"Content-Length": str(len(body))}
    own |= {name.replace("_", "-"): value for name, value in headers.items()}
    lines = [f"{method} /{server.token if token is None else token}/{path} HTTP/1.1"]
    lines += [f"{name}: {value}" for name, value in own.items() if value]
    return send(server, "\r\n".join((*lines, "", "")).encode() + body)


def send(server: Server, text: bytes) -> Answer:
    with closing(socket.create_connection(("127.0.0.1", server.port), timeout=30)) as connection:
        connection.sendall(text)
        received = b""
        while part := connection.recv(65536):
            received += part
    head, _, body = received.partition(b"\r\n\r\n")
    first, *lines = head.decode().split("\r\n")
    return int(first.split()[1]), dict(line.lower().split(": ", 1) for line in lines), body


QUESTION = json.dumps({"number": 7, "changes": {}, "read": ["smelting.matte.rate"]}).encode()


def test_the_page_is_let_in(server: Server) -> None:
    assert ask(server, "case")[0] == 200
    code, _, body = ask(server, "answer", "POST", QUESTION)
    assert code == 200
    assert json.loads(body)["number"] == 7
    assert ask(server, "answer", "POST", QUESTION, Host=f"localhost:{server.port}",
               Origin=f"http://localhost:{server.port}")[0] == 200  # fmt: skip


@pytest.mark.parametrize("path", ["", "case", "changes", "live.js", "answer"])
@pytest.mark.parametrize("token", ["", "x", "x" * 43, "%00", "..", "%C3%A9"])
def test_without_the_token_nothing_is_told(server: Server, path: str, token: str) -> None:
    code, headers, body = ask(server, path, token=token)
    assert (code, body) == (404, b"")
    assert "server" not in headers


def test_a_token_that_is_nearly_right_is_wrong(server: Server) -> None:
    for token in (server.token[:-1], server.token + "a", server.token.swapcase(), server.token[::-1]):
        assert ask(server, "case", token=token)[0] == 404


def test_a_token_is_32_random_bytes() -> None:
    tokens = {new_token() for _ in range(100)}
    assert len(tokens) == 100
    assert {len(token) for token in tokens} == {43}


@pytest.mark.parametrize("host", ["evil.example", "evil.example:{port}", "127.0.0.1", "127.0.0.1:1", "[::1]:{port}",
                                  "127.0.0.1:{port}.evil.example", "0.0.0.0:{port}"])  # fmt: skip
def test_another_name_for_this_machine_leads_nowhere(server: Server, host: str) -> None:
    """A stranger's name that points here (rebinding) is not ours."""
    assert ask(server, "case", Host=host.format(port=server.port))[0] == 404


def test_two_hosts_or_none_are_no_host(server: Server) -> None:
    own = f"Host: 127.0.0.1:{server.port}"
    for hosts in ([own, "Host: evil.example"], []):
        text = "\r\n".join((f"GET /{server.token}/case HTTP/1.1", *hosts, "Connection: close", "", ""))
        assert send(server, text.encode())[0] in (400, 404)


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1:{port}", "http://127.0.0.1:1",
                                    "http://127.0.0.1", "http://localhost:{port}"])  # fmt: skip
@pytest.mark.parametrize("method", ["GET", "POST"])
def test_a_page_of_elsewhere_is_sent_away_though_it_knows_the_token(
    server: Server, method: str, origin: str
) -> None:
    path = "case" if method == "GET" else "answer"
    code, headers, body = ask(server, path, method, QUESTION if method == "POST" else b"",
                              Origin=origin.format(port=server.port))  # fmt: skip
    assert (code, body) == (403, b"")
    assert not any(name.startswith("access-control") for name in headers)


def test_a_question_needs_an_origin(server: Server) -> None:
    assert ask(server, "answer", "POST", QUESTION, Origin="")[0] == 403


def test_what_the_browser_says_of_the_asking_site_counts(server: Server) -> None:
    """A picture or script of ours in another page is refused; a person who follows a link comes in."""
    for site in ("cross-site", "same-site"):
        assert (
            ask(server, "case", Sec_Fetch_Site=site, Sec_Fetch_Mode="no-cors", Sec_Fetch_Dest="script")[0]
            == 403
        )
    for site in ("none", "same-origin"):
        assert ask(server, "case", Sec_Fetch_Site=site)[0] == 200
    assert (
        ask(server, "", Sec_Fetch_Site="cross-site", Sec_Fetch_Mode="navigate", Sec_Fetch_Dest="document")[0]
        == 200
    )
    assert (
        ask(server, "", Sec_Fetch_Site="cross-site", Sec_Fetch_Mode="navigate", Sec_Fetch_Dest="iframe")[0]
        == 403
    )


@pytest.mark.parametrize(
    "kind", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data", ""]
)
def test_what_a_form_of_elsewhere_can_send_is_refused(server: Server, kind: str) -> None:
    assert ask(server, "answer", "POST", QUESTION, Content_Type=kind)[0] == 415


@pytest.mark.parametrize("method", ["PUT", "DELETE", "OPTIONS", "TRACE", "HEAD", "PATCH"])
def test_no_other_method(server: Server, method: str) -> None:
    assert ask(server, "case", method)[0] == 405


def test_every_answer_carries_the_headers(server: Server) -> None:
    for path, code in (("case", 200), ("nothing", 404), ("", 200)):
        found, headers, _ = ask(server, path)
        assert found == code
        assert {name.lower(): value.lower() for name, value in HEADERS.items()}.items() <= headers.items()
        assert "'unsafe" not in headers["content-security-policy"]


def test_a_body_too_large_is_refused_whatever_it_says_of_its_length(server: Server) -> None:
    large = json.dumps({"changes": {"title": "x" * MOST_BYTES}}).encode()
    assert ask(server, "answer", "POST", large)[0] == 413
    for length in ("-1", "9" * 30, "1e3", " "):
        assert ask(server, "answer", "POST", QUESTION, Content_Length=length)[0] in (400, 413)
    chunks = b"".join(
        b"%x\r\n%s\r\n" % (len(part), part)
        for part in (large[i : i + 8192] for i in range(0, len(large), 8192))
    )
    head = "\r\n".join((f"POST /{server.token}/answer HTTP/1.1", f"Host: 127.0.0.1:{server.port}",
                        f"Origin: http://127.0.0.1:{server.port}", "Content-Type: application/json",
                        "Transfer-Encoding: chunked", "Connection: close", "", ""))  # fmt: skip
    assert send(server, head.encode() + chunks + b"0\r\n\r\n")[0] == 413


@pytest.mark.parametrize(
    "body",
    [
        b"", b"{", b"[]", b"null", b"3", b'"x"', b"\xff\xfe", b"[" * 50_000, b'{"number": "1"}', b'{"number": true}',
        b'{"changes": []}', b'{"changes": {"a": 3}}', b'{"changes": {"a=b": "c"}}', b'{"read": [3]}', b'{"read": {}}',
        b'{"hold": [3]}', b'{"hold": [{"reading": "a=b"}]}', b'{"keys": "x"}', b'{"picture": 3}', b'{"x": 3}',
        json.dumps({"changes": {"a": "x" * 500}}).encode(), json.dumps({"read": ["x"] * 300}).encode(),
        json.dumps({"changes": {f"k{i}": "" for i in range(600)}}).encode(),
    ],
)  # fmt: skip
def test_a_malformed_body_is_told_so(server: Server, body: bytes) -> None:
    for path in ("answer", "curves", "window", "keep"):
        code, headers, text = ask(server, path, "POST", body)
        assert code == 400
        assert headers["content-type"].startswith("text/plain")
        assert b"Traceback" not in text
    assert ask(server, "case")[0] == 200


@pytest.mark.parametrize(
    "path",
    ["../../../etc/passwd", "..%2f..%2fetc%2fpasswd", "page/../server.py", "%2e%2e/server.py", "live.js/../../guard.py",
     "/etc/passwd", "__init__.py", "..\\guard.py", "live.js%00.css", "page/live.html", "."],
)  # fmt: skip
def test_no_path_leads_to_a_file_that_is_not_of_the_page(server: Server, path: str) -> None:
    code, _, body = ask(server, path)
    assert code in (400, 404)
    assert b"root:" not in body
    assert b"import" not in body


def test_it_listens_on_the_loopback_address_alone(server: Server) -> None:
    assert server._socket.getsockname()[0] == "127.0.0.1"
    others = {
        "127.0.0.2",
        "::1",
        *(str(info[4][0]) for info in socket.getaddrinfo(socket.gethostname(), None)),
    }
    for address in others - {"127.0.0.1"}:
        with pytest.raises(OSError):  # noqa: PT011 # refused, or no way there: nothing answers
            socket.create_connection((address, server.port), timeout=2)


def test_a_thousand_connections_keep_nobody_out(server: Server) -> None:
    """Of those that do not show the token only a few stay; the page is answered among them, and after."""
    held: list[socket.socket] = []
    try:
        for i in range(1000):
            held.append(socket.create_connection(("127.0.0.1", server.port), timeout=30))
            if i % 3 == 0:
                held[-1].sendall(b"GET /")  # half a request
            if i % 250 == 249:
                assert ask(server, "answer", "POST", QUESTION)[0] == 200
        assert ask(server, "case")[0] == 200
        until = time.monotonic() + 0.5 * door.PATIENCE  # they are not let go for their silence
        while len(server._server.server_state.connections) > door.MOST + 2 and time.monotonic() < until:
            time.sleep(0.05)
        assert len(server._server.server_state.connections) <= door.MOST + 2
    finally:
        for connection in held:
            connection.close()
    assert ask(server, "case")[0] == 200


def test_who_shows_no_token_is_soon_shut_out(server: Server, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(door, "PATIENCE", 0.2)
    with closing(socket.create_connection(("127.0.0.1", server.port), timeout=10)) as silent:
        silent.sendall(b"GET /slowly")
        started = time.monotonic()
        with suppress(ConnectionResetError):
            assert silent.recv(1) == b""
        assert time.monotonic() - started < 5.0
