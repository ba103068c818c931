"""A real Caddy with the recommended configuration and a certificate authority of its own, in front of a port of this machine.

`python -m tests.proxy.caddy caddy` exits 0 if one can be started; without an argument it says so or why not.
"""

import os
import shutil
import ssl
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from tests.journeys.site import free_port, until
from tests.proxy.nginx import PATH, Proxy
from tests.structure.tree import ROOT

CONFIGURATION = ROOT / "server" / "proxy" / "Caddyfile"
ITS_AUTHORITY = Path("data", "caddy", "pki", "authorities", "local", "root.crt")
LEFT_OUT = "what is tested through Caddy, the web server that renews its certificates by itself"


def reason_missing() -> str | None:
    return None if shutil.which("caddy", path=PATH) else "no caddy is installed (Debian and Ubuntu: apt install caddy)"


@contextmanager
def caddy_before(port: int, folder: Path, listens_on: int) -> Iterator[Proxy]:
    """Serves until the block ends."""
    configuration = folder / "Caddyfile"
    configuration.write_text(_for_a_test(port, listens_on), encoding="utf-8")
    program = shutil.which("caddy", path=PATH)
    assert program is not None
    environment = {**os.environ, "XDG_DATA_HOME": str(folder / "data"), "XDG_CONFIG_HOME": str(folder / "config")}
    command = [program, "run", "--adapter", "caddyfile", "--config", str(configuration)]
    with (folder / "caddy.said").open("w") as said:
        server = subprocess.Popen(command, stdout=said, stderr=said, env=environment)

    def proxy() -> Proxy:
        return Proxy(listens_on, ssl.create_default_context(cafile=str(folder / ITS_AUTHORITY)))

    def answers() -> bool:
        assert server.poll() is None, (folder / "caddy.said").read_text()
        try:
            with closing(proxy().connect()) as connection:
                connection.connect()
        except OSError:
            return False
        return True

    try:
        until(answers, "Caddy has started")
        yield proxy()
    finally:
        server.terminate()
        server.wait(20)


def _for_a_test(port: int, listens_on: int) -> str:
    """The recommended file with this machine's ports and name, and a certificate of its own making, in place of a clinic's."""
    text = CONFIGURATION.read_text(encoding="utf-8")
    changes = {
        "\temail it@clinic.example": f"\tskip_install_trust\n\thttp_port {free_port()}\n\temail it@clinic.example",
        "\nfollowup.clinic.example {": f"\nlocalhost:{listens_on} {{\n\ttls internal\n\tbind 127.0.0.1",
        "127.0.0.1:8017": f"127.0.0.1:{port}",
    }
    for recommended, here in changes.items():
        assert recommended in text, f"the recommended configuration no longer says {recommended}"
        text = text.replace(recommended, here)
    return text


def main(arguments: list[str]) -> int:
    reason = reason_missing()
    if not arguments:
        print(f"  caddy: {f'{reason}; left out: {LEFT_OUT}' if reason else 'there'}")
    return 1 if arguments and reason else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
