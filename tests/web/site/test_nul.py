"""NUL characters are refused once, for everything that a request brings. Runs on both databases."""

from __future__ import annotations

import io

import pytest
from django.test import Client

from wearlog.people.models import User

REFUSAL = "holds a NUL"


def refused(answer: object) -> None:
    assert answer.status_code == 400, answer  # type: ignore[attr-defined]
    page = answer.content.decode()  # type: ignore[attr-defined]
    assert REFUSAL in page
    assert "Nothing was saved" in page
    assert answer["X-Request-ID"] in page  # type: ignore[index]


@pytest.mark.parametrize(
    "path",
    [
        "/scan/?q=%00",
        "/scan/?code=A%00B",
        "/scan/A%00B/",
        "/sign-in/?next=%00",
        "/sign-in/x%00/",
        "/calendar/x%00.ics",
        "/mail/stop/x%00/",
        "/photos/a%00/",
        "/static/web/%00.css",
        "/nothing%00",
        "/?%00=1",
    ],
)
def test_in_an_address_without_a_sign_in(path: str, client: Client, mill: object) -> None:
    refused(client.get(path))


@pytest.mark.parametrize(
    ("path", "fields"),
    [
        ("/sign-in/", {"username": "ow\0ner", "password": "x"}),
        ("/sign-in/", {"username": "owner", "password": "\0"}),
        ("/sign-in/", {"user\0name": "owner"}),
        ("/scan/", {"code": "\0"}),
        ("/mail/stop/abc/", {"List-Unsubscribe": "One-Click\0"}),
    ],
)
def test_in_a_form_without_a_sign_in(path: str, fields: dict[str, str], client: Client, mill: object) -> None:
    refused(client.post(path, fields))  # in parts, as a form with a file
    body = "&".join(f"{name}={value}" for name, value in fields.items()).replace("\0", "%00")
    refused(client.post(path, body, content_type="application/x-www-form-urlencoded"))
    refused(client.post(path, body.replace("%00", "\0"), content_type="application/x-www-form-urlencoded"))


def test_in_the_name_of_a_file_but_not_in_what_it_holds(client: Client, operator: User) -> None:
    client.force_login(operator)
    upload = io.BytesIO(b"\0\0 no photo")
    upload.name = "photo.jpg"
    answer = client.post("/log/note/", {"text": "x", "by_name": "y", "photo": upload})
    assert REFUSAL not in answer.content.decode()
    body = (
        b'--b\r\nContent-Disposition: form-data; name="photo"; filename="a\0.jpg"\r\n'
        b"Content-Type: image/jpeg\r\n\r\nx\r\n--b--\r\n"
    )
    answer = client.post("/log/note/", body, content_type="multipart/form-data; boundary=b")
    assert answer.status_code == 422  # no photo; Django itself takes what can't be printed out of the name


@pytest.mark.parametrize("body", [b'{"a": "x\\u0000"}', b'{"a": "\\\\\\u0000"}', b'{"a": "\0"}'])
def test_in_json(body: bytes, client: Client, mill: object) -> None:
    refused(client.post("/sign-in/", body, content_type="application/json"))


def test_a_backslash_before_what_only_looks_like_one_is_no_nul(client: Client, mill: object) -> None:
    answer = client.post("/sign-in/", b'{"a": "\\\\u0000"}', content_type="application/json")
    assert REFUSAL not in answer.content.decode()


@pytest.mark.parametrize("header", ["Accept-Language", "User-Agent", "X-Wearlog-Who", "Referer"])
def test_in_a_header(header: str, client: Client, mill: object) -> None:
    refused(client.get("/sign-in/", headers={header: "de\0"}))


@pytest.mark.parametrize("name", ["sessionid", "csrftoken", "messages"])
def test_in_a_cookie_also_where_it_is_written_as_an_octal_escape(
    name: str, client: Client, mill: object
) -> None:
    refused(client.get("/sign-in/", headers={"Cookie": f"{name}=a\0b"}))
    refused(client.get("/sign-in/", headers={"Cookie": f'{name}="a\\000b"'}))


def test_an_entry_of_a_phone_is_refused_in_words_and_not_sent_again(client: Client, operator: User) -> None:
    client.force_login(operator)
    answer = client.post("/log/note/", {"text": "a\0", "by_name": "y"}, headers={"X-Wearlog-Queue": "q-1"})
    assert (answer.status_code, answer.json()["state"]) == (400, "refused")
    assert REFUSAL in answer.json()["problems"][0][1]
