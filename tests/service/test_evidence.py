"""Evidence of how a job went: a picture keeps what it shows and loses where it was taken; nothing else gets in."""

import hashlib
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from threading import Barrier
from typing import Any

import httpx
import pytest
import sqlalchemy as sa

from scheduler.vocabulary import Scope
from service.evidence.tables import evidence_files
from tests.service import evidence_files as made
from tests.service.served import Served, served
from tests.service.small_plant import close_out

PLACE = "LINE1-R1"


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(tmp_path_factory.mktemp("evidence")) as running:
        yield running


@pytest.fixture(scope="module")
def client(service: Served) -> Iterator[httpx.Client]:
    with service.client(service.key(Scope.ADMINISTER, name="shift B")) as opened:
        yield opened


@pytest.fixture(scope="module")
def closed(client: httpx.Client) -> Any:
    """Closes a job at each call and gives its number."""
    numbers = iter(range(1, 100))

    def close() -> int:
        answer = client.post("/v1/close-outs", json=close_out(PLACE, next(numbers)))
        assert answer.status_code == 201, answer.text
        assert answer.json()["files"] == 0
        return int(answer.json()["id"])

    return close


@pytest.fixture(scope="module")
def job(closed: Any) -> int:
    """One closed job for the tests that look at nothing but their own file; fewer than twenty of those succeed."""
    return int(closed())


def send(client: httpx.Client, job: int, content: bytes, name: str = "card.jpg", **form: str) -> httpx.Response:
    return client.post(f"/v1/close-outs/{job}/files", files={"file": (name, content)}, data=form)


def attached(client: httpx.Client, job: int, content: bytes, name: str = "card.jpg", **form: str) -> dict[str, Any]:
    answer = send(client, job, content, name, **form)
    assert answer.status_code == 201, answer.text
    return dict(answer.json())


def listed(client: httpx.Client, job: int) -> list[dict[str, Any]]:
    return list(client.get(f"/v1/close-outs/{job}/files").json()["items"])


def kept_rows(service: Served) -> int:
    with service.database.reading() as connection:
        return connection.scalar(sa.select(sa.func.count()).select_from(evidence_files)) or 0


def test_a_picture_is_attached_listed_and_served_to_be_saved(closed: Any, client: httpx.Client) -> None:
    job = closed()
    sent = made.jpeg()
    told = attached(client, job, sent, "ring 1.jpg", shows="pleats at the inlet")
    assert {name: told[name] for name in ("close_out", "name", "shows", "kind", "sha256", "recorded_by")} == {
        "close_out": job,
        "name": "ring 1.jpg",
        "shows": "pleats at the inlet",
        "kind": "image/jpeg",
        "sha256": hashlib.sha256(sent).hexdigest(),
        "recorded_by": "shift B",
    }
    assert listed(client, job) == [told]
    assert client.get(f"/v1/close-outs/{job}").json()["files"] == 1
    answer = client.get(f"/v1/files/{told['id']}")
    assert answer.status_code == 200
    assert answer.content == sent  # it held nothing that had to go
    assert (told["as_sent"], told["kept_bytes"]) == (True, len(sent))
    assert answer.headers["Content-Type"] == "image/jpeg"
    # RFC 6266, 4; the others keep a browser from taking it for a page of this server
    assert answer.headers["Content-Disposition"] == (
        "attachment; filename=\"ring 1.jpg\"; filename*=UTF-8''ring%201.jpg"
    )
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Content-Security-Policy"] == "sandbox; default-src 'none'"


def test_a_file_that_a_client_has_is_not_sent_again(closed: Any, client: httpx.Client) -> None:
    job = closed()
    told = attached(client, job, made.png(made.two_halves(size=(10, 10))))
    path = f"/v1/files/{told['id']}"
    etag = client.get(path).headers["ETag"]
    for names_it in (etag, f"W/{etag}", f'"other", {etag}', "*"):  # RFC 9110, 13.1.2
        answer = client.get(path, headers={"If-None-Match": names_it})
        assert (answer.status_code, answer.content, answer.headers["ETag"]) == (304, b"", etag)
    assert client.get(path, headers={"If-None-Match": '"other"'}).status_code == 200


@pytest.mark.parametrize(
    ("content", "name", "kind", "saved_as"),
    [
        (made.jpeg(made.two_halves(size=(16, 16))), "report.pdf", "image/jpeg", "report.pdf.jpg"),
        (made.png(made.two_halves(size=(16, 16))), "page.html", "image/png", "page.html.png"),
        (made.pdf(text=b"named as a picture"), "photo.JPG", "application/pdf", "photo.JPG.pdf"),
        (made.jpeg(made.two_halves(size=(17, 16))), "IMG_7.JPEG", "image/jpeg", "IMG_7.JPEG"),
        (made.jpeg(made.two_halves(size=(18, 16))), "no ending", "image/jpeg", "no ending.jpg"),
    ],
)
def test_what_a_file_is_is_decided_by_its_content_whatever_it_is_called(
    job: int, client: httpx.Client, content: bytes, name: str, kind: str, saved_as: str
) -> None:
    form = {"file": (name, content, "text/html")}  # nor by what the sender calls it
    told = client.post(f"/v1/close-outs/{job}/files", files=form).json()
    assert told["kind"] == kind
    answer = client.get(f"/v1/files/{told['id']}")
    assert answer.headers["Content-Type"] == kind
    assert f'filename="{saved_as}"' in answer.headers["Content-Disposition"]


@pytest.mark.parametrize(
    ("told", "kept", "header"),
    [
        # a header of its own, a quote that ends the name early, folders, a hidden file, a name written backwards
        ("a.jpg\r\nSet-Cookie: x=1", "a.jpg__Set-Cookie_ x=1", 'filename="a.jpg__Set-Cookie_ x=1.jpg"'),
        ('a"; filename="b.exe', "a__ filename=_b.exe", 'filename="a__ filename=_b.exe.jpg"'),
        ("../../etc/passwd.jpg", "passwd.jpg", 'filename="passwd.jpg"'),
        ("C:\\photos\\ring.jpg", "ring.jpg", 'filename="ring.jpg"'),
        (".jpg", "jpg", 'filename="jpg.jpg"'),
        ("..", "file", 'filename="file.jpg"'),
        ("\u202egpj.exe", "_gpj.exe", 'filename="_gpj.exe.jpg"'),
        ("a\x00b.jpg", "a_b.jpg", 'filename="a_b.jpg"'),
        # RFC 8187, 3.2.3: the sign and its UTF-8 in percent are the RFC's example
        ("€ rates.jpg", "€ rates.jpg", "filename=\"_ rates.jpg\"; filename*=UTF-8''%E2%82%AC%20rates.jpg"),
        ("x" * 300 + ".jpg", "x" * 146 + ".jpg", 'filename="' + "x" * 146 + '.jpg"'),
    ],
)
def test_a_name_puts_nothing_into_a_header_and_names_no_folder(
    job: int, client: httpx.Client, told: str, kept: str, header: str
) -> None:
    # in a part of its own it comes through as it stands, whatever a client does to a file's name
    form = {"file": ("sent.jpg", made.jpeg(comment=told.encode()))}  # another file each time
    file = client.post(f"/v1/close-outs/{job}/files", files=form, data={"name": told}).json()
    assert file["name"] == kept
    answer = client.get(f"/v1/files/{file['id']}")
    assert header in answer.headers["Content-Disposition"]
    assert "Set-Cookie" not in answer.headers


def test_a_name_that_a_client_writes_into_the_form_itself_is_made_safe_too(closed: Any, client: httpx.Client) -> None:
    job = closed()
    boundary = b"--cut\r\n"
    head = b'Content-Disposition: form-data; name="file"; filename="..\\..\\\xff\x7f\xe2\x82\xac.jpg"\r\n\r\n'
    body = boundary + head + made.jpeg() + b"\r\n--cut--\r\n"
    headers = {"Content-Type": "multipart/form-data; boundary=cut"}
    answer = client.post(f"/v1/close-outs/{job}/files", content=body, headers=headers)
    assert answer.status_code == 201, answer.text
    assert "\\" not in answer.json()["name"]
    assert answer.json()["name"].isprintable()
    client.get(f"/v1/files/{answer.json()['id']}").headers["Content-Disposition"].encode("ascii")


def test_the_same_file_again_changes_nothing_and_gets_the_same_answer(
    service: Served, closed: Any, client: httpx.Client
) -> None:
    job, other = closed(), closed()
    first = attached(client, job, made.jpeg_of_a_camera(), "before.jpg", shows="before")
    before = kept_rows(service)
    again = send(client, job, made.jpeg_of_a_camera(), "after.jpg", shows="after")
    assert (again.status_code, again.json()) == (200, first)
    assert kept_rows(service) == before
    elsewhere = attached(client, other, made.jpeg_of_a_camera())  # it may well show two jobs
    assert elsewhere["id"] != first["id"]
    assert elsewhere["sha256"] == first["sha256"]


def test_two_who_send_the_same_file_at_once_attach_it_once(service: Served, closed: Any) -> None:
    together = Barrier(2)
    key = service.key(Scope.WORK, name="two tablets")
    jobs = [closed() for _ in range(3)]
    content = made.jpeg_of_a_camera(orientation=6)

    def begin(job: int) -> httpx.Response:
        with service.client(key) as client:
            together.wait(timeout=60)
            return send(client, job, content)

    with ThreadPoolExecutor(2) as pool:
        for job in jobs:
            answers = list(pool.map(partial(begin), (job, job)))
            assert sorted(answer.status_code for answer in answers) == [200, 201], [each.text for each in answers]
            assert answers[0].json() == answers[1].json()
    with service.database.reading() as connection:
        found = connection.execute(
            sa.select(evidence_files.c.close_out).where(evidence_files.c.close_out.in_(jobs))
        ).scalars()
        assert sorted(found) == sorted(jobs)


def test_a_close_out_takes_twenty_files_and_says_so_at_the_next(
    service: Served, closed: Any, client: httpx.Client
) -> None:
    job = closed()
    files = [made.png(made.two_halves(size=(width, 4))) for width in range(4, 25)]
    for content in files[:20]:
        attached(client, job, content)
    before = kept_rows(service)
    refused = send(client, job, files[20])
    assert (refused.status_code, refused.json()["detail"]) == (409, f"close-out {job} has 20 files; it may have 20")
    assert kept_rows(service) == before
    assert send(client, job, files[0]).status_code == 200  # one of the twenty is no further one


def test_a_close_out_that_was_taken_back_still_shows_its_files_and_takes_more(
    closed: Any, client: httpx.Client
) -> None:
    job = closed()
    told = attached(client, job, made.png())
    undone = client.post(f"/v1/close-outs/{job}/corrections", json={"why": "it was the other line", "undo": True})
    assert undone.status_code == 201, undone.text
    assert undone.json()["files"] == 1
    assert listed(client, job) == [told]
    assert client.get(f"/v1/files/{told['id']}").content == made.png()
    later = attached(client, job, made.pdf(text=b"the other line's card"))
    assert listed(client, job) == [told, later]


def test_a_file_for_no_job_and_a_file_that_is_none_are_not_found(client: httpx.Client) -> None:
    for answer, detail in (
        (send(client, 2_000_000_000, made.png()), "there is no close-out 2000000000"),
        (client.get("/v1/close-outs/2000000000/files"), "there is no close-out 2000000000"),
        (client.get("/v1/files/2000000000"), "there is no file 2000000000"),
    ):
        assert (answer.status_code, answer.json()["detail"]) == (404, detail)


def cut(content: bytes, share: float) -> bytes:
    return content[: int(share * len(content))]


PNG_OF_A_KILOBYTE = made.png_of_size(10, 10)
JPEG_OF_50_001_PIXELS_A_SIDE = made.jpeg().replace(
    made.HEIGHT.to_bytes(2) + made.WIDTH.to_bytes(2), (50_001).to_bytes(2) + (50_001).to_bytes(2)
)

REFUSED: dict[str, tuple[bytes, str]] = {
    "nothing": (b"", "it is empty; expected a JPEG or PNG picture or a PDF"),
    "a GIF": (b"GIF89a" + b"\x00" * 20, "it is a GIF picture; expected a JPEG or PNG picture or a PDF"),
    "a HEIF": (
        b"\x00\x00\x00\x18ftypheic" + b"\x00" * 20,
        "it is a HEIF picture (set the camera to JPEG); expected a JPEG or PNG picture or a PDF",
    ),
    "a film": (
        b"\x00\x00\x00\x18ftypmp42" + b"\x00" * 20,
        "it is a video; expected a JPEG or PNG picture or a PDF",
    ),
    "a page before a picture": (
        b"\n<html><script>alert(1)</script>" + made.png(),
        "it is a web page, SVG or XML; expected a JPEG or PNG picture or a PDF",
    ),
    "a program": (
        b"MZ\x90\x00\x03\x00\x00\x00\x04",
        "it is of no known kind (it begins with the bytes 4d 5a 90 00 03 00 00 00); "
        "expected a JPEG or PNG picture or a PDF",
    ),
    "a PDF behind other bytes": (
        b"(junk)" + made.pdf(),
        "it is of no known kind (it begins with the bytes 28 6a 75 6e 6b 29 25 50); "
        "expected a JPEG or PNG picture or a PDF",
    ),
    "a JPEG without its end": (made.jpeg()[:-2], "the JPEG is cut short: it has no end (EOI)"),
    "half a JPEG": (cut(made.jpeg(), 0.9), "the JPEG is cut short: it has no end (EOI)"),
    "the head of a JPEG": (cut(made.jpeg(), 0.1), "the JPEG is cut short in the middle of a segment"),
    "a JPEG without a picture": (b"\xff\xd8\xff\xd9", "the JPEG holds no picture"),
    "a JPEG in a JPEG": (
        made.jpeg()[:-2] + made.jpeg(),
        "the JPEG is damaged: a second picture begins inside the first one",
    ),
    "a JPEG of a thousand scans": (
        made.jpeg()[:-2] + made.segment(0xDA, b"\x01\x01\x00\x00\x3f\x00") * 1000 + b"\xff\xd9",
        "the JPEG has more than 100 scans, which no camera makes",
    ),
    "a JPEG that would fill the memory": (
        JPEG_OF_50_001_PIXELS_A_SIDE,
        "the picture has 50,001 × 50,001 pixels; it may have 50,000,000 in all",
    ),
    "a PNG that would fill the memory": (
        made.png_of_size(2**31 - 1, 2**31 - 1),
        "the picture has 2,147,483,647 × 2,147,483,647 pixels; it may have 50,000,000 in all",
    ),
    "a PNG without a size": (made.png_of_size(0, 7), "the picture says that it has 0 × 7 pixels"),
    "half a PNG": (cut(made.png(), 0.5), "the PNG is cut short: it has no end (IEND)"),
    "a PNG with a flipped bit": (
        made.png().replace(b"IDATx", b"IDATy"),
        "the PNG is damaged: the checksum of its chunk IDAT is wrong",
    ),
    "a PNG that begins with its end": (
        PNG_OF_A_KILOBYTE[:8] + made.chunk(b"IEND", b""),
        "the PNG is damaged: it does not begin with its header",
    ),
    "a PNG that needs what nobody knows": (
        PNG_OF_A_KILOBYTE[:-12] + made.chunk(b"MILL", b"x") + PNG_OF_A_KILOBYTE[-12:],
        "the PNG needs a chunk MILL that the standard does not know",
    ),
    "half a PDF": (
        cut(made.pdf(), 0.5),
        "the PDF is cut short: its end (%%EOF) is not within its last 1,024 bytes",
    ),
    "a PDF before a page": (
        made.pdf() + b"<script>alert(1)</script>" * 100,
        "the PDF is cut short: its end (%%EOF) is not within its last 1,024 bytes",
    ),
    "an encrypted PDF": (
        made.pdf(b"<< /Size 4 /Root 1 0 R /Encrypt 9 0 R >>"),
        "the PDF is encrypted; expected one that can be read without a password",
    ),
    "an encrypted PDF that writes it in another way": (  # ISO 32000-1, 7.3.5: #79 is y
        made.pdf(b"<< /Size 4 /Root 1 0 R /Encr#79pt 9 0 R >>"),
        "the PDF is encrypted; expected one that can be read without a password",
    ),
    "an encrypted PDF with a reference stream": (
        made.pdf_with_reference_stream(b"/Encrypt 9 0 R "),
        "the PDF is encrypted; expected one that can be read without a password",
    ),
}


@pytest.mark.parametrize(("content", "says"), REFUSED.values(), ids=REFUSED.keys())
def test_what_cannot_be_taken_is_told_with_what_was_found(
    service: Served, job: int, client: httpx.Client, content: bytes, says: str
) -> None:
    before = kept_rows(service)
    answer = send(client, job, content, "ring.jpg")
    assert answer.status_code == 422
    problem = answer.json()
    assert (problem["type"], problem["detail"]) == ("/problems/file-not-taken", f"ring.jpg: {says}")
    assert problem["errors"] == [{"member": "file", "value": "ring.jpg", "says": says}]
    assert kept_rows(service) == before


def test_a_picture_whose_data_are_no_picture_is_refused(service: Served, job: int, client: httpx.Client) -> None:
    before = kept_rows(service)
    zeros = made.PNG_SIGNATURE + made.png()[8:33] + made.chunk(b"IDAT", b"\x00" * 50) + made.chunk(b"IEND", b"")
    too_little = made.png_of_size(1000, 1000)
    for content, kind in ((zeros, "PNG"), (too_little, "PNG"), (made.jpeg_with_broken_tables(), "JPEG")):
        problem = send(client, job, content, "ring.jpg").json()
        assert problem["detail"].startswith(f"ring.jpg: the {kind} cannot be decoded: "), problem
        assert "0x" not in problem["detail"]  # nothing of the inside
    assert kept_rows(service) == before


def test_a_pdf_may_speak_of_encryption(closed: Any, client: httpx.Client) -> None:
    job = closed()
    for content in (made.pdf(text=b"/Encrypt is a key of the trailer"), made.pdf_with_reference_stream()):
        told = attached(client, job, content, "report.pdf")
        assert told["as_sent"]
        assert client.get(f"/v1/files/{told['id']}").content == content


def test_a_file_of_more_than_ten_megabytes_is_refused(service: Served, job: int, client: httpx.Client) -> None:
    before = kept_rows(service)
    too_much = made.pdf() + b" " * (10_000_001 - len(made.pdf()))
    answer = send(client, job, too_much, "scan.pdf")
    assert answer.status_code == 413
    assert answer.json()["type"] == "/problems/too-large"
    assert answer.json()["detail"] == "scan.pdf has 10,000,001 bytes; a file may have 10,000,000"
    far_too_much = send(client, job, b"x" * 11_000_000)  # refused by its length alone
    assert (far_too_much.status_code, far_too_much.json()["detail"]) == (413, "the body may have 10,050,000 bytes")
    assert kept_rows(service) == before


def test_a_form_with_parts_that_nobody_would_read_is_refused(service: Served, job: int, client: httpx.Client) -> None:
    before = kept_rows(service)
    path = f"/v1/close-outs/{job}/files"
    one = ("file", ("a.png", made.png()))
    for files, data, detail in (
        ([one, one], {}, "file: stands more than once; send each file in a request of its own"),
        ([one], {"show": "flakes"}, "show: is not one of: file, name, shows"),
        ([one], {"shows": "a\x07b"}, "shows: String should match pattern '^[^\\x00-\\x1f\\x7f]*$'"),
        ([("picture", ("a.png", made.png()))], {}, "picture: is not one of: file, name, shows"),
    ):
        answer = client.post(path, files=files, data=data)
        assert (answer.status_code, answer.json()["detail"]) == (422, detail)
    raw = client.post(path, content=made.png(), headers={"Content-Type": "image/png"})
    assert raw.status_code == 415
    assert raw.json()["detail"] == (
        "send the body with Content-Type application/json, a file with multipart/form-data; it came with image/png"
    )
    assert kept_rows(service) == before
