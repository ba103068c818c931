"""A server of this machine that greets by TLS with a self-made certificate."""

import socket
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

NOW = datetime.now(UTC)  # as the TLS library judges a certificate


def certificate(folder: Path, ends_at: datetime, host: str = "localhost") -> Path:
    """Self-made, with its key in one file."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, host)])
    made = x509.CertificateBuilder().subject_name(name).issuer_name(name).public_key(key.public_key())
    made = made.serial_number(x509.random_serial_number())
    made = made.not_valid_before(NOW - timedelta(days=365)).not_valid_after(ends_at)
    made = made.add_extension(x509.SubjectAlternativeName([x509.DNSName(host)]), critical=False)
    made = made.add_extension(x509.BasicConstraints(ca=True, path_length=None), critical=True)
    signed = made.sign(key, hashes.SHA256()).public_bytes(Encoding.PEM)
    path = folder / "certificate.pem"
    path.write_bytes(signed + key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))
    return path


@contextmanager
def behind_tls(file: Path, host: str = "localhost") -> Iterator[str]:
    """The address of a server that greets by TLS and says nothing."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(file)
    with socket.create_server(("127.0.0.1", 0)) as listener:

        def serve() -> None:
            try:
                with listener.accept()[0] as plain, context.wrap_socket(plain, server_side=True) as secure:
                    secure.recv(1)
            except OSError:
                pass  # whoever refuses the certificate hangs up

        thread = threading.Thread(target=serve)
        thread.start()
        yield f"https://{host}:{listener.getsockname()[1]}"
        thread.join(20)
