"""Photos in an object store: a server that speaks S3 (moto's), behind one that fails as networks do."""

from __future__ import annotations

import http.client
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import boto3
import pytest
from moto.server import ThreadedMotoServer

from canopy.errors import UsageError
from canopy.nightly.check import check
from canopy.nightly.farm import find_farm, make_farm
from canopy.nightly.remote import share
from canopy.nightly.tidy import tidy
from canopy.settings import RemoteSettings
from canopy.store.database import opened

from .conftest import HEADER, LINE, Share, counts, made_up_analyse

BUCKET = "farm"
HANG_S = 2.5


class Between(BaseHTTPRequestHandler):
    """Hands requests on to the server, unless `faults` says what is to go wrong with the next ones."""

    protocol_version = "HTTP/1.1"
    behind = ("", 0)
    faults: list[tuple[str, str]] = []  # noqa: RUF012
    asked: list[str] = []  # noqa: RUF012

    def _fault(self):
        for number, (part, kind) in enumerate(self.faults):
            if part in self.path:
                del self.faults[number]
                return kind
        return ""

    def do_GET(self):
        self.asked.append(f"{self.command} {self.path}")
        fault = self._fault()
        if fault == "hang":
            time.sleep(HANG_S)
        body = self.rfile.read(int(self.headers.get("Content-Length") or 0))
        ahead = http.client.HTTPConnection(*self.behind, timeout=30)
        ahead.request(self.command, self.path, body, dict(self.headers))
        answer = ahead.getresponse()
        data = answer.read()
        if fault == "error":
            self.send_error(500, "broken")
            return
        self.send_response(answer.status)
        for name, value in answer.getheaders():
            if name.lower() not in {"transfer-encoding", "content-length", "connection", "server", "date"}:
                self.send_header(name, value)
        length = answer.getheader("Content-Length") if self.command == "HEAD" else str(len(data))
        self.send_header("Content-Length", length or "0")
        self.end_headers()
        if fault == "cut":
            self.wfile.write(data[: len(data) // 2])
            self.close_connection = True
        elif fault == "slow":
            for letter in data:
                self.wfile.write(bytes([letter]))
                time.sleep(HANG_S / len(data))
        else:
            self.wfile.write(data)

    do_HEAD = do_PUT = do_POST = do_GET  # noqa: N815

    def log_message(self, *_):
        pass


@pytest.fixture(scope="module")
def server():
    running = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    running.start()
    host, port = running.get_host_and_port()
    Between.behind = (host, port)
    between = ThreadingHTTPServer(("127.0.0.1", 0), Between)
    between.daemon_threads = True
    threading.Thread(target=between.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{between.server_port}", f"http://{host}:{port}"
    between.shutdown()
    between.server_close()
    running.stop()


@pytest.fixture
def bucket(server, tmp_path, monkeypatch):
    """A farm whose photos are in a bucket, and a way to put some there past the failing server."""
    for name, value in (("ID", "testing"), ("SECRET", "testing")):
        monkeypatch.setenv({"ID": "AWS_ACCESS_KEY_ID", "SECRET": "AWS_SECRET_ACCESS_KEY"}[name], value)
    monkeypatch.setenv("AWS_DEFAULT_REGION", "us-east-1")
    monkeypatch.setattr("canopy.nightly.work.analyse", made_up_analyse)
    url, direct = server
    client = boto3.client("s3", endpoint_url=direct)
    client.create_bucket(Bucket=BUCKET)
    Between.faults, Between.asked = [], []
    root = tmp_path / "farm"
    make_farm(root)
    (root / "trays.csv").write_text(
        HEADER + LINE.format(photo="R1_*", tray="R1") + LINE.format(photo="R2_*", tray="R2")
    )
    (root / "canopy.toml").write_text(
        f'[nightly]\nphotos = "s3://{BUCKET}/photos"\n'
        f'[nightly.remote]\noptions = {{ endpoint_url = "{url}" }}\ntries = 2\nwait_s = 0.1\ntimeout_s = 1\n'
    )
    made = Share(root, str(root / "canopy.db"), now_s=time.time() + 3600)
    made.put = lambda path, data=b"photo": client.put_object(Bucket=BUCKET, Key=f"photos/{path}", Body=data)
    made.client = client
    yield made
    for item in client.list_objects_v2(Bucket=BUCKET).get("Contents", []):
        client.delete_object(Bucket=BUCKET, Key=item["Key"])
    client.delete_bucket(Bucket=BUCKET)


def test_photos_of_a_bucket_are_read_once(bucket):
    bucket.put("R1_a.jpg", b"1")
    bucket.put("rack 2/é/R2_b.png", b"22")
    bucket.put("rack 2/overlays/R2_b.jpg", b"a result")
    bucket.put("rack 2/.hidden.jpg", b"hidden")
    bucket.put("notes.txt", b"no photo")
    assert counts(bucket.one_pass()) == (2, 0, 0, 0, 0)
    assert bucket.read()["photo"].tolist() == ["R1_a.jpg", "rack 2/é/R2_b.png"]
    Between.asked.clear()
    assert counts(bucket.one_pass()) == (0, 2, 0, 0, 0)
    assert [request for request in Between.asked if "list-type" not in request] == []  # known photos are only listed
    bucket.put("R1_c.jpg", b"1")  # a copy under another name
    assert counts(bucket.one_pass()) == (0, 3, 0, 0, 0)
    bucket.client.delete_object(Bucket=BUCKET, Key="photos/R1_a.jpg")
    assert counts(bucket.one_pass()) == (0, 2, 0, 1, 0)


def test_a_photo_written_over_within_the_same_second_is_another_content(bucket):
    bucket.put("R1_a.jpg", b"1")
    bucket.one_pass()
    bucket.put("R1_a.jpg", b"2")
    assert bucket.one_pass().read == 1


def test_a_young_object_is_left_for_the_next_pass(bucket):
    bucket.put("R1_a.jpg", b"1")
    bucket.now_s = time.time()
    assert counts(bucket.one_pass()) == (0, 0, 1, 0, 0)
    assert counts(bucket.one_pass()) == (1, 0, 0, 0, 0)


@pytest.mark.parametrize("kind", ["error", "hang", "cut", "slow"])
def test_a_photo_that_is_not_given_at_once_is_asked_for_again(bucket, kind):
    bucket.put("R1_a.jpg", b"x" * 400)
    Between.faults = [("R1_a.jpg", kind)]
    assert counts(bucket.one_pass()) == (1, 0, 0, 0, 0)
    assert Between.faults == []


def test_a_photo_that_is_not_given_at_all_is_left_for_the_next_pass_and_told(bucket):
    bucket.put("R1_a.jpg", b"x" * 400)
    bucket.put("R2_b.jpg", b"22")
    Between.faults = [("R1_a.jpg", "slow")] * 60
    began = time.monotonic()
    night = bucket.one_pass()
    # Two tries of a second each and a pause; a server that hangs is not waited for to its end.
    assert time.monotonic() - began < 12
    assert (night.read, night.waiting, night.set_aside, night.exit_code) == (1, 1, [], 1)
    assert "photos/R1_a.jpg: not given (took longer than timeout_s = 1); the next pass asks again" in night.problems[0]
    Between.faults = []
    assert counts(bucket.one_pass()) == (1, 1, 0, 0, 0)


def test_a_list_that_is_not_given_forgets_nothing(bucket):
    bucket.put("R1_a.jpg", b"1")
    bucket.put("rack/R2_b.jpg", b"22")
    bucket.one_pass()
    Between.faults = [("prefix=photos%2Frack", "hang")] * 60
    night = bucket.one_pass()
    assert (night.gone, night.exit_code) == (0, 1)
    assert "rack: cannot be listed" in night.problems[0]
    Between.faults = [("list-type", "hang")] * 60
    with pytest.raises(UsageError, match=r"photos: cannot be listed .*check address and rights"):
        bucket.one_pass()
    Between.faults = []
    assert counts(bucket.one_pass()) == (0, 2, 0, 0, 0)


def test_an_object_that_changes_or_goes_after_it_was_listed_is_left(bucket, monkeypatch):
    bucket.put("R1_a.jpg", b"1")
    bucket.put("R1_b.jpg", b"22")
    place = find_farm(bucket.folder).place()
    entries = {entry.name: entry for listing in place.listings() for entry in listing.entries}
    bucket.put("R1_a.jpg", b"other")
    bucket.client.delete_object(Bucket=BUCKET, Key="photos/R1_b.jpg")
    assert place.take("R1_a.jpg", entries["R1_a.jpg"]).state == "changing"
    assert place.take("R1_b.jpg", entries["R1_b.jpg"]).state == "gone"
    assert place.troubles == []


def test_an_emptied_bucket_looks_like_a_share_that_is_not_mounted(bucket):
    bucket.put("R1_a.jpg", b"1")
    bucket.one_pass()
    bucket.client.delete_object(Bucket=BUCKET, Key="photos/R1_a.jpg")
    with pytest.raises(UsageError, match="is empty, but photos are known in it"):
        bucket.one_pass()


def test_check_compares_with_the_bucket_and_tidy_leaves_it_alone(bucket):
    bucket.put("R1_a.jpg", b"1")
    bucket.one_pass()
    with opened(bucket.store, busy_timeout_s=5) as store:
        assert check(find_farm(bucket.folder).place(), store, compare_bytes=True).exit_code == 0
        bucket.put("R1_b.jpg", b"2")
        assert check(find_farm(bucket.folder).place(), store, compare_bytes=False).new == ["R1_b.jpg"]
    with (bucket.folder / "canopy.toml").open("a") as file:
        file.write("[nightly.keep]\nphotos_days = 1\n")
    with pytest.raises(UsageError, match="photos on a server are not deleted from here"):
        tidy(find_farm(bucket.folder), delete=True, now_ns=0)


def test_an_address_of_no_kind_and_a_bucket_that_is_not_there_are_told(bucket):
    with pytest.raises(UsageError, match=r"nosuch://a/b: cannot be opened .*; check `photos` under \[nightly\]"):
        share("nosuch://a/b", RemoteSettings())
    settings = find_farm(bucket.folder).settings.nightly.remote
    with pytest.raises(UsageError, match="s3://absent/photos: is not there"):
        list(share("s3://absent/photos", settings).listings())
    assert [listing.entries for listing in share(f"s3://{BUCKET}/none", settings).listings()] == [()]


def test_any_file_system_of_fsspec_is_read_alike(tmp_path):
    (tmp_path / "rack").mkdir()
    (tmp_path / "rack" / "R1_a.jpg").write_bytes(b"1")
    place = share(f"file://{tmp_path}", RemoteSettings())
    found = [(listing.folder, [entry.name for entry in listing.entries]) for listing in place.listings()]
    assert found == [("", []), ("rack", ["R1_a.jpg"])]
    entry = list(place.listings())[1].entries[0]
    assert place.take("rack/R1_a.jpg", entry).data == b"1"
