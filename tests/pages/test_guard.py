from __future__ import annotations

import http.client
from urllib.parse import urlsplit

import pytest

from calltag.pages.guard import new_token
from calltag.pages.listening.app import listening_app
from calltag.pages.listening.session import Session

TOKEN = "a-token"


@pytest.fixture
def ask(served, log_path):
    """Ask the listening page's server, byte for byte as given."""
    address = urlsplit(served(listening_app(Session(log_path))))

    def ask(path: str, *, method: str = "GET", body: str | None = None, **headers: str):
        connection = http.client.HTTPConnection(address.hostname, address.port, timeout=10)
        connection.putrequest(method, path, skip_host=True)
        given = {"Host": address.netloc} | {k.replace("_", "-"): v for k, v in headers.items()}
        if body is not None:
            given.setdefault("Content-Length", str(len(body)))
        for name, value in given.items():
            connection.putheader(name, value)
        connection.endheaders(body.encode() if body is not None else None)
        answer = connection.getresponse()
        text = answer.read()
        connection.close()
        return answer, text

    return ask


def test_the_page_is_given_with_its_rules(ask) -> None:
    answer, text = ask(f"/{TOKEN}/")
    assert answer.status == 200
    assert b"Listening log" in text
    policy = answer.getheader("content-security-policy")
    # What `default-src` does not cover: frames around the page, forms, the base of its addresses.
    for rule in ("default-src", "frame-ancestors", "form-action", "base-uri"):
        assert f"{rule} 'none'" in policy.split("; ")
    assert "unsafe" not in policy
    assert answer.getheader("cross-origin-resource-policy") == "same-origin"
    assert answer.getheader("cross-origin-opener-policy") == "same-origin"
    assert answer.getheader("cache-control") == "no-store"
    assert answer.getheader("x-content-type-options") == "nosniff"
    assert answer.getheader("referrer-policy") == "no-referrer"
    assert answer.getheader("access-control-allow-origin") is None


@pytest.mark.parametrize(
    "path", ["/", "/queue", "/wrong/", "/wrong/queue", f"/{TOKEN}", f"/{TOKEN}x/", "/%FF/", "//"]
)
def test_without_the_token_there_is_nothing(ask, path) -> None:
    answer, text = ask(path)
    assert answer.status == 404
    assert b"Listening log" not in text
    assert "default-src 'none'" in answer.getheader("content-security-policy")


@pytest.mark.parametrize("host", ["ashmere.example", "127.0.0.1", "127.0.0.1:1", "localhost", ""])
def test_another_host_is_refused(ask, host) -> None:
    answer, text = ask(f"/{TOKEN}/", Host=host)
    assert answer.status in (400, 421)
    assert b"Listening log" not in text


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://ashmere.example"},
        {"Origin": "null"},
        {"Origin": "http://127.0.0.1:1"},
        {"Sec_Fetch_Site": "cross-site"},
        {"Sec_Fetch_Site": "same-site"},
    ],
)
def test_another_origin_is_refused(ask, headers, log_path) -> None:
    body = '{"number": 1, "label": "wind", "start_s": 1, "end_s": 2}'
    answer, _ = ask(
        f"/{TOKEN}/answer", method="POST", body=body, Content_Type="application/json", **headers
    )
    assert answer.status == 403
    assert Session(log_path).sounds.n_labels == 0


@pytest.mark.parametrize(
    "path",
    [
        "static/../guard.py",
        "static/..%2fguard.py",
        "static/%2e%2e/guard.py",
        "static//etc/passwd",
        "static/paper.css%00.js",
        "../../../etc/passwd",
        "sound/../../../etc/passwd/sound.wav",
        "sound/-1/sound.wav",
        "sound/1.5",
        "sound/99999",
        "sound/99999/still.jpg",
        "sound/x/picture.png",
        "queue?order=../x",
    ],
)
def test_tricks_with_paths_find_nothing(ask, path) -> None:
    answer, text = ask(f"/{TOKEN}/{path}")
    assert answer.status in (400, 404)
    assert b"root:" not in text
    assert b"import" not in text


@pytest.mark.parametrize(
    ("body", "kind", "status"),
    [
        ("{", "application/json", 400),
        ("[1]", "application/json", 400),
        ('{"number": 1}', "text/plain", 415),
        ('{"number": "1"}', "application/json", 400),
        ('{"number": 1, "label": "wind", "start_s": NaN, "end_s": 1}', "application/json", 400),
        ('{"number": 1, "label": "call", "start_s": 1, "end_s": 2}', "application/json", 400),
        ('{"number": 1, "label": "wind", "start_s": 2, "end_s": 1}', "application/json", 400),
        ('{"number": 1, "label": "wind", "start_s": 1, "end_s": 9999}', "application/json", 400),
        (" " * 70_000, "application/json", 413),
    ],
)
def test_bad_answers_are_refused_with_a_sentence(ask, body, kind, status, log_path) -> None:
    answer, text = ask(f"/{TOKEN}/answer", method="POST", body=body, Content_Type=kind)
    assert answer.status == status
    assert len(text) > 10
    assert Session(log_path).sounds.n_labels == 0


def test_a_body_of_no_stated_length_is_not_read(ask) -> None:
    answer, _ = ask(f"/{TOKEN}/answer", method="POST", Transfer_Encoding="chunked")
    assert answer.status == 413


def test_other_methods_are_refused(ask) -> None:
    assert ask(f"/{TOKEN}/answer")[0].status == 405
    assert ask(f"/{TOKEN}/", method="PUT", body="x")[0].status == 405


def test_tokens_are_long_and_new() -> None:
    assert len(new_token()) >= 43
    assert len({new_token() for _ in range(50)}) == 50
