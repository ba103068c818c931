"""A real nginx with the recommended configuration and a certificate of its own, in front of a port of this machine.

`python -m tests.proxy.nginx nginx` exits 0 if one can be started; without an argument it says so or why not.
"""

import getpass
import os
import shutil
import ssl
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from http.client import HTTPSConnection
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

from tests.journeys.site import free_port, until
from tests.structure.tree import ROOT

CONFIGURATION = ROOT / "server" / "proxy" / "nginx.conf"
PATH = f"{os.environ.get('PATH', '')}:/usr/sbin:/sbin"  # Debian keeps it out of the PATH of ordinary users
TEMPORARY = ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
LEFT_OUT = "what is tested through nginx, a real web server with TLS"
# For a test of what Caddy does not do, or does just the same at the price of a browser.
nginx_alone = pytest.mark.parametrize("front", ["nginx"], indirect=True, scope="package")


def reason_missing() -> str | None:
    return (
        None
        if shutil.which("nginx", path=PATH)
        else "no nginx is installed (Debian and Ubuntu: apt install nginx-light)"
    )


@dataclass(frozen=True)
class Proxy:
    """`host` is what a browser shows, `localhost:PORT`."""

    port: int
    trusts: ssl.SSLContext

    @property
    def host(self) -> str:
        return f"localhost:{self.port}"

    def connect(self, came_from: str = "127.0.0.1") -> HTTPSConnection:
        """A connection from any address of the loopback network, so that one machine can be many clients."""
        return HTTPSConnection("localhost", self.port, timeout=30, context=self.trusts, source_address=(came_from, 0))


@contextmanager
def nginx_before(port: int, folder: Path, listens_on: int) -> Iterator[Proxy]:
    """Serves until the block ends."""
    certificate, key = _certificate(folder)
    configuration = folder / "nginx.conf"
    configuration.write_text(_for_a_test(port, folder, listens_on, certificate, key))
    program = shutil.which("nginx", path=PATH)
    assert program is not None
    command = [
        program,
        "-e",
        str(folder / "error.log"),
        "-p",
        str(folder),
        "-c",
        str(configuration),
        "-g",
        "daemon off;",
    ]
    with (folder / "nginx.said").open("w") as said:
        server = subprocess.Popen(command, stdout=said, stderr=said)
    try:
        until(lambda: (folder / "nginx.pid").exists() or server.poll() is not None, "nginx has started")
        assert server.poll() is None, (folder / "nginx.said").read_text()
        yield Proxy(listens_on, ssl.create_default_context(cafile=str(certificate)))
    finally:
        server.terminate()
        server.wait(20)


def _for_a_test(port: int, folder: Path, listens_on: int, certificate: Path, key: Path) -> str:
    """The recommended file with this machine's ports, paths and user in place of a clinic's."""
    text = CONFIGURATION.read_text(encoding="utf-8")
    temporary = "".join(f"    {name}_temp_path {folder / name};\n" for name in TEMPORARY)
    changes = {
        "pid /run/nginx.pid;": f"pid {folder / 'nginx.pid'};\nuser {getpass.getuser()};",
        "/var/log/nginx/error.log": str(folder / "error.log"),
        "http {\n": f"http {{\n{temporary}",
        "listen 80;": f"listen 127.0.0.1:{free_port()};",
        "listen 443 ssl;": f"listen 127.0.0.1:{listens_on} ssl;",
        "followup.clinic.example;  ": "localhost;  ",
        "/etc/ssl/followup.clinic.example.pem": str(certificate),
        "/etc/ssl/private/followup.clinic.example.key": str(key),
        "http://127.0.0.1:8017": f"http://127.0.0.1:{port}",
    }
    for recommended, here in changes.items():
        assert recommended in text, f"the recommended configuration no longer says {recommended}"
        text = text.replace(recommended, here)
    return text


def _certificate(folder: Path) -> tuple[Path, Path]:
    """A self-signed certificate for localhost and its key, as PEM files."""
    key, now = ec.generate_private_key(ec.SECP256R1()), datetime.now(UTC)
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "localhost")])
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([x509.DNSName("localhost")]), critical=False)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .sign(key, hashes.SHA256())
    )
    certificate, private = folder / "certificate.pem", folder / "key.pem"
    certificate.write_bytes(made.public_bytes(Encoding.PEM))
    private.write_bytes(key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))
    return certificate, private


def main(arguments: list[str]) -> int:
    reason = reason_missing()
    if not arguments:
        print(f"  nginx: {f'{reason}; left out: {LEFT_OUT}' if reason else 'there'}")
    return 1 if arguments and reason else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
